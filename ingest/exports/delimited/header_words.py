"""The words of headers: which of them name a quantity, a side, a direction or a thing that is none of ours."""

from __future__ import annotations

#: Words that name a quantity, and words that come with it and change nothing.
WORDS = {
    "current_A": {"current", "amps", "amp", "ampere", "amperes", "amperage", "i", "curr", "strom", "courant"},
    "voltage_V": {"voltage", "volts", "volt", "v", "u", "spannung", "tension"},
    "power_W": {"power", "watts", "watt", "p", "active", "real", "wattage", "w", "leistung", "puissance"},
    "charge_Ah": {"charge", "capacity", "consumed", "used", "counter", "amp", "hours", "hour", "hr", "ah"},
    "energy_Wh": {"energy", "consumed", "used", "counter", "watt", "hours", "hour", "hr", "wh"},
    "temperature_degC": {"temperature", "temp"},
    "state_of_charge_pct": {"soc", "state", "of", "charge"},
    "power_factor": {"power", "factor", "pf", "cos", "phi", "cosphi", "cosφ"},
    "frequency_Hz": {"frequency", "freq", "hz"},
    "pressure_kPa": {"pressure"},
    "flow_L_per_min": {"flow", "rate"},
}
#: The word without which a column is not that quantity, whatever its unit.
NAMING = {
    "current_A": WORDS["current_A"],
    "voltage_V": WORDS["voltage_V"],
    "power_W": WORDS["power_W"] - {"active", "real"},
    "temperature_degC": {"temperature", "temp"},
    "power_factor": {"factor", "pf", "cosphi", "cosφ", "phi"},
    "state_of_charge_pct": {"soc"},
    "frequency_Hz": {"frequency", "freq", "hz"},
    "pressure_kPa": {"pressure"},
    "flow_L_per_min": {"flow"},
}
BANK = {
    "battery", "batteries", "batt", "bat", "bank", "pack", "shunt", "main", "total", "dc", "ac", "rms", "net", "the",
    "in", "at",
}  # fmt: skip
#: Words of something other than the bank: such a column is taken only where there is no plainer one, and that is said.
ELSEWHERE = {"pv", "panel", "panels", "solar", "array", "load", "charger", "cell", "aux", "step"}
#: Words of a reading that stands for a stretch of time; there, too, a plainer column is preferred.
AVERAGES = {"average", "avg", "mean"}
#: Words that speak of alternating current wherever they stand, and in the name of what is taken; words against it.
AC_ANYWHERE = {"rms", "apparent", "reactive", "vrms", "arms"}
AC, DC = {"ac", "vac", "aac"}, {"battery", "batteries", "batt", "bat", "bank", "pack", "shunt", "dc", "vdc", "adc"}
#: Dimensions that are taken for power by mistake.
NOT_WATTS = ("apparent power", "reactive power")
#: Words of a figure that is not the reading itself: such a column is never taken unless a profile says so.
NO_READING = {
    "peak", "max", "maximum", "min", "minimum", "limit", "limits", "set", "setpoint", "setpoints", "spec", "open",
    "ocv", "target", "rated", "nominal", "threshold", "alarm", "cutoff", "remaining", "left", "available", "design",
    "offset",
}  # fmt: skip
#: Words of something that is counted or numbered: without a unit such a column is none, whatever else its name says.
COUNTED = {"step", "cycle", "cyc", "index", "count", "number", "no", "nr", "id", "status", "mode", "code"}
NEVER = {
    "power_W": {"apparent", "reactive", "factor"},
    "current_A": {"hour", "hours", "hr", "hrs"},
    "voltage_V": set[str](),
}
CHARGING = {
    "charge", "charging", "chg", "chrg", "recharge", "recharging", "charged", "laden", "ladung", "aufladen", "lädt",
    "geladen", "ladestrom", "ladeleistung", "carga", "cargando", "carica", "opladen",
}  # fmt: skip
DISCHARGING = {
    "discharge", "discharging", "discharged", "dischg", "dsg", "dchg", "disch", "entladen", "entladung", "entlädt",
    "entladestrom", "entladeleistung", "décharge", "decharge", "descarga", "descargando", "scarica", "ontladen",
}  # fmt: skip
#: Words of either way in English, German and French: in cells of a direction, and in names of two columns that hold one
#: way each.
INTO = CHARGING | {"in", "into", "incoming", "entrée", "entree"}
OUT = DISCHARGING | {"out", "outgoing", "draw", "drawing", "sortie"}
#: Words that say a way, but not seen from where: what a bank sinks its charger sources.
EITHER_WAY = {
    "sink", "sinks", "sinking", "source", "sourcing", "import", "imported", "importing", "export", "exported",
    "exporting", "feed", "feeding", "absorb", "absorbing", "supplying", "consumption", "consuming", "production",
    "producing", "generation", "generating", "verbrauch", "einspeisung", "bezug", "lieferung", "injection", "soutirage",
}  # fmt: skip
#: Words that two columns of one way each differ by, the way into the bank first as a rule.
OPPOSITES = (
    ("+", "-"), ("positive", "negative"), ("pos", "neg"), ("plus", "minus"), ("import", "export"), ("to", "from"),
    ("imported", "exported"), ("sink", "source"),
)  # fmt: skip
#: Names of columns that say which way something flows, and of those that may.
DIRECTION_NAMES = {
    "direction", "dir", "flow", "sign", "polarity", "way", "richtung", "stromrichtung", "vorzeichen", "sens", "signe",
}  # fmt: skip
STATE_NAMES = {
    "mode", "state", "status", "modus", "zustand", "betriebsart", "état", "etat", "statut", "betrieb", "kind", "type",
}  # fmt: skip
ONE_WAY = ("current_A", "power_W", "charge_Ah", "energy_Wh")
TIME_UNITS = {
    "%", "s", "sec", "seconds", "ms", "min", "h", "h:m:s", "hh:mm:ss", "date", "time", "iso", "utc", "local",
}  # fmt: skip
REMARKS = BANK | ELSEWHERE | AVERAGES | NO_READING | {"instant", "now", "filtered", "out", "calculated", "measured"}
REQUIRED = ("current_A", "voltage_V", "power_W")
#: Words one of which a header has for its time, in the languages that exports speak.
NAMES_TIME = (
    "time", "date", "stamp", "clock", "elapsed", "uptime", "millis", "epoch", "seconds", "zeit", "datum", "uhr",
    "heure", "horodat", "temps", "fecha", "hora",
)  # fmt: skip
#: Words of a row below the header that says how each column is stored: usual in databases, from memory.
STORED_AS = {
    "bigint", "bool", "boolean", "date", "datetime", "decimal", "double", "float", "float32", "float64", "int", "int32",
    "int64", "integer", "number", "numeric", "real", "str", "string", "text", "time", "timestamp", "varchar",
}  # fmt: skip

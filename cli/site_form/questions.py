"""The few questions whose answers make a site file that is of use, in the order in which they are asked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from ...ingest.toml.places import Where
from .field import Field
from .system import field_at

INVERTER: Final = ("inverters", 0)
PUMP: Final = ("loads", 0)


@dataclass(frozen=True)
class SiteQuestion:
    """What is asked of one field.

    `other` is a field that takes the answer where it is in a unit of that one. It is asked only where one of the fields
    `after` was answered; none: in any case. What is not `needed` can be skipped.
    """

    where: Where
    what: str
    other: Where | None = None
    after: tuple[Where, ...] = ()
    needed: bool = False

    @property
    def field(self) -> Field:
        """The field that it asks of."""
        field = field_at(self.where)
        assert field is not None  # a test holds every question to a field
        return field

    @property
    def fields(self) -> tuple[Where, ...]:
        """The fields that may take the answer."""
        return (self.where, *([self.other] if self.other else []))

    @property
    def sentence(self) -> str:
        """The whole question: what is meant, in which units, where it stands, and whether it can be skipped."""
        field = self.field
        units = field.units or tuple(field.choices)
        beside = field_at(self.other) if self.other else None
        other = beside.units if beside else ()
        in_units = f" ({', '.join((*units, *other))})" if units else ""
        skip = "" if self.needed else " Enter skips."
        return f"{self.what}{in_units}. {field.where}{skip}".replace(".  ", ". ")


WATTS: Final = (*INVERTER, "continuous_W")
_SURGE: Final = (*INVERTER, "surge_W")
PLATE: Final = tuple((*PUMP, key) for key in ("hp", "voltage_V", "current_A"))
TANK: Final = ("water", "tank_volume_L")
_STARTS: Final = ("water", "cut_in_kPa")
_IDLE: Final = (*INVERTER, "idle_W")

QUESTIONS: Final = (
    SiteQuestion(("name",), "The name of the place", needed=True),
    SiteQuestion(("bank", "nominal_V"), "The bank's nominal voltage", needed=True),
    SiteQuestion(("bank", "capacity_Ah"), "The bank's capacity", needed=True),
    SiteQuestion(("bank", "chemistry"), "The kind of battery"),
    # Only protection electronics have such a limit, and such a bank cannot be judged without it.
    SiteQuestion(("bank", "max_discharge_A"), "The most amps that the bank lets out", after=(("bank", "chemistry"),)),
    SiteQuestion(WATTS, "The inverter's power without a break", (*INVERTER, "continuous_VA")),
    SiteQuestion(_SURGE, "The inverter's power for a moment", (*INVERTER, "surge_VA"), (WATTS,)),
    SiteQuestion((*INVERTER, "surge_s"), "How long the inverter gives that", after=(_SURGE,), needed=True),
    SiteQuestion((*INVERTER, "output_V"), "The voltage that the inverter gives", after=(WATTS,)),
    SiteQuestion(PLATE[0], "The pump's power at the shaft"),
    SiteQuestion(PLATE[1], "The pump's voltage"),
    SiteQuestion(PLATE[2], "The pump's amps while running"),
    SiteQuestion(("array", "power_W"), "The solar array's peak power"),
    SiteQuestion(("array", "sun_hours_h"), "Hours of full sun a day", after=(("array", "power_W"),)),
    SiteQuestion(TANK, "The pressure tank's whole volume"),
    SiteQuestion(_STARTS, "The pressure at which the pump starts", after=(TANK,)),
    SiteQuestion(("water", "cut_out_kPa"), "The pressure at which the pump stops", after=(_STARTS,)),
    SiteQuestion(("water", "precharge_kPa"), "The air pressure of the empty tank", after=(_STARTS,)),
    SiteQuestion(("water", "flow_L_per_min"), "What the pump gives", after=(TANK,)),
    # Last, so that answers of a pipe to those above stay where they are.
    SiteQuestion(_IDLE, "What the inverter takes with nothing running", after=(WATTS,)),
    SiteQuestion((*INVERTER, "always_on"), "Whether the inverter is never switched off, yes or no", after=(_IDLE,)),
)

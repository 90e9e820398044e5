"""An export in the manner of a German logger: a 12 V bank, a pump whose tank has lost its air, 80 starts in 2 h."""

from datetime import datetime, timedelta

import numpy as np

RUNS, LASTS_S, EVERY_S = 80, 7200, 90
BEGAN = datetime(2026, 5, 9, 6, 30)
#: What the inverter draws by itself, and the panels bring in the morning, at its beginning and its end. [A]
_IDLE_A, _SUN_A = 1.1, (2.0, 9.0)
_OPEN_V, _RESISTANCE_OHM = 12.75, 0.022
#: Of one reading. [A], [V]
_NOISE_A, _NOISE_V = 0.03, 0.002


def short_cycling(seed=1):
    """Return the export's text, and what the pump took [Ah].

    Semicolons, decimal commas, the day first, milliamps; charging is positive.
    """
    rng = np.random.default_rng(seed)
    pump_A = np.zeros(LASTS_S)
    for run in range(RUNS):
        start = run * EVERY_S + 20 + int(rng.integers(0, 15))
        lasts = int(rng.integers(18, 24))
        pump_A[start : start + lasts] = rng.normal(66.0, 0.6)
        pump_A[start] *= 2.1
    current_A = np.linspace(*_SUN_A, LASTS_S) - _IDLE_A - pump_A  # positive is charging
    voltage_V = _OPEN_V + _RESISTANCE_OHM * current_A + rng.normal(0, _NOISE_V, LASTS_S)
    current_A = current_A + rng.normal(0, _NOISE_A, LASTS_S)
    lines = ["Messgerät Bank;Export", "Datum;Uhrzeit;Spannung [V];Strom [mA]"]
    for second, (volts, amps) in enumerate(zip(voltage_V, current_A, strict=True)):
        at = BEGAN + timedelta(seconds=second)
        lines.append(f"{at:%d.%m.%Y;%H:%M:%S};{volts:.3f};{amps * 1000:.1f}".replace(".", ",").replace(",", ".", 2))
    return "\n".join(lines) + "\n", float(pump_A.sum()) / 3600

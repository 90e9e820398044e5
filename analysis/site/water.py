"""The water table of a site file: tank, pressures, flow, lift."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, ClassVar

from pydantic import Field

from .fields import MOST, SI, Name, NotNegative, Positive, needed_SI
from .strict_table import Fault
from .unit_tables import ShownTable
from .units import KPA_PER_PSI, L_PER_GAL, M_PER_FT


class Water(ShownTable):
    """The pressure system of the pump ``load``; pressures are gauge pressures. A tank alone is kept as well."""

    same_thing = (
        ("tank_volume_L", "tank_volume_gal"),
        ("cut_in_kPa", "cut_in_psi"),
        ("cut_out_kPa", "cut_out_psi"),
        ("precharge_kPa", "precharge_psi"),
        ("flow_L_per_min", "flow_gal_per_min"),
        ("head_m", "head_ft"),
        ("altitude_m", "altitude_ft"),
    )
    needed = same_thing[:1]
    also_called: ClassVar[Mapping[str, str]] = {
        "pump": "load", "volume_l": "tank_volume_L", "tank_l": "tank_volume_L", "volume_gal": "tank_volume_gal",
        "tank_gal": "tank_volume_gal",
    }  # fmt: skip

    load: Name
    tank_volume_L: Positive | None = None
    tank_volume_gal: Positive | None = None
    cut_in_kPa: Positive | None = None
    cut_in_psi: Positive | None = None
    cut_out_kPa: Positive | None = None
    cut_out_psi: Positive | None = None
    precharge_kPa: NotNegative | None = None
    precharge_psi: NotNegative | None = None
    flow_L_per_min: Positive | None = None
    flow_gal_per_min: Positive | None = None
    head_m: Positive | None = None
    head_ft: Positive | None = None
    altitude_m: Annotated[float, Field(ge=-500, le=9000)] | None = None
    altitude_ft: Annotated[float, Field(ge=-1640, le=29500)] | None = None

    @classmethod
    def faults(cls, data: Mapping[str, object]) -> Iterator[Fault]:
        """Yield also a pump that would be switched off before it is switched on."""
        yield from super().faults(data)
        # The two may be given in different units, and either may be no number at all: that is told at its own key.
        on_kPa, off_kPa = _raw_kPa(data, "cut_in"), _raw_kPa(data, "cut_out")
        if on_kPa is not None and off_kPa is not None and on_kPa >= off_kPa:
            key = "cut_in_kPa" if "cut_in_kPa" in data else "cut_in_psi"
            yield Fault((key,), "must be below the cut-out pressure: the pump starts at cut-in and stops at cut-out")

    @property
    def volume_L(self) -> float:
        """Volume of the whole tank, air and water [L]."""
        return needed_SI(self.tank_volume_L, self.tank_volume_gal, L_PER_GAL)

    @property
    def start_kPa(self) -> float | None:
        """Gauge pressure at which the pump starts: cut-in [kPa]."""
        return SI(self.cut_in_kPa, self.cut_in_psi, KPA_PER_PSI)

    @property
    def stop_kPa(self) -> float | None:
        """Gauge pressure at which the pump stops: cut-out [kPa]."""
        return SI(self.cut_out_kPa, self.cut_out_psi, KPA_PER_PSI)

    @property
    def switch_kPa(self) -> tuple[float, float] | None:
        """Gauge pressures at which the pump starts and stops; None where one of them is not given [kPa]."""
        start, stop = self.start_kPa, self.stop_kPa
        return None if start is None or stop is None else (start, stop)

    @property
    def air_kPa(self) -> float | None:
        """Gauge pressure of the air in the empty tank: pre-charge [kPa]."""
        return SI(self.precharge_kPa, self.precharge_psi, KPA_PER_PSI)

    @property
    def pump_L_per_min(self) -> float | None:
        """Flow of the pump [L/min]."""
        return SI(self.flow_L_per_min, self.flow_gal_per_min, L_PER_GAL)

    @property
    def lift_m(self) -> float | None:
        """Total head the pump works against [m]."""
        return SI(self.head_m, self.head_ft, M_PER_FT)

    @property
    def height_m(self) -> float:
        """Height above the sea, 0 where it is not given [m]."""
        return SI(self.altitude_m, self.altitude_ft, M_PER_FT) or 0.0


def _raw_kPa(data: Mapping[str, object], key: str) -> float | None:
    for unit, factor in (("kPa", 1.0), ("psi", KPA_PER_PSI)):
        value = data.get(f"{key}_{unit}")
        if isinstance(value, int | float) and not isinstance(value, bool) and abs(value) <= MOST:
            return value * factor
    return None

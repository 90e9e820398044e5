"""Published tables of copper conductors: size, resistance, and what current a table allows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

RESISTANCE_SOURCE: Final = "NEC chapter 9, table 8 (uncoated copper, direct current, 75 °C)"
AREA_RESISTANCE_SOURCE: Final = "IEC 60228, table 2 (copper, class 2: the most at 20 °C; from memory)"
AMPACITY_SOURCE: Final = (
    "NEC table 310.16, copper at 75 °C, at most three conductors in a raceway, 30 °C around (from memory)"
)
AREA_AMPACITY_SOURCE: Final = (
    "IEC 60364-5-52, table B.52.2, copper in PVC, two loaded wires in a conduit on a wall, 30 °C around (from memory)"
)
MM2_PER_CIRCULAR_MIL: Final = 5.067075e-4  # pi/4 x (25.4 / 1000)^2


@dataclass(frozen=True)
class Gauge:
    """One row: area in circular mils, ohms per 1,000 ft solid (None: not made so) and stranded, and ampacity [A]."""

    circular_mils: float
    solid_ohm_per_kft: float | None
    stranded_ohm_per_kft: float
    ampacity_A: float

    @property
    def area_mm2(self) -> float:
        """Copper area [mm2]."""
        return self.circular_mils * MM2_PER_CIRCULAR_MIL


# Ampacities of 14, 12 and 10 AWG are cut to 15, 20 and 30 A by NEC 240.4(D) (from memory); 18 and 16 have none there:
# 7 and 10 A are what that section allows at most (from memory).
GAUGES: Final[dict[str, Gauge]] = {
    "18": Gauge(1620, 7.77, 7.95, 7),
    "16": Gauge(2580, 4.89, 4.99, 10),
    "14": Gauge(4110, 3.07, 3.14, 15),
    "12": Gauge(6530, 1.93, 1.98, 20),
    "10": Gauge(10380, 1.21, 1.24, 30),
    "8": Gauge(16510, 0.764, 0.778, 50),
    "6": Gauge(26240, None, 0.491, 65),
    "4": Gauge(41740, None, 0.308, 85),
    "3": Gauge(52620, None, 0.245, 100),
    "2": Gauge(66360, None, 0.194, 115),
    "1": Gauge(83690, None, 0.154, 130),
    "1/0": Gauge(105600, None, 0.122, 150),
    "2/0": Gauge(133100, None, 0.0967, 175),
    "3/0": Gauge(167800, None, 0.0766, 200),
    "4/0": Gauge(211600, None, 0.0608, 230),
}

#: By area [mm2]. Its first size is 1.5 mm2; 0.75 and 1 mm2 are as flexible cords (from memory).
AREA_AMPACITY_A: Final[dict[float, float]] = {
    0.75: 6, 1.0: 10, 1.5: 17.5, 2.5: 24, 4: 32, 6: 41,
    10: 57, 16: 76, 25: 101, 35: 125, 50: 151, 70: 192,
    95: 232, 120: 269, 150: 300, 185: 341, 240: 400, 300: 458,
}  # fmt: skip

#: The most ohms of a kilometre at 20 degC by area [mm2]: a cable may be drawn thinner than its name, 50 mm2 to 47.
#: Finely stranded ones (class 5) are allowed up to 10 % more (from memory).
AREA_OHM_PER_KM: Final[dict[float, float]] = {
    0.75: 24.5, 1.0: 18.1, 1.5: 12.1, 2.5: 7.41, 4: 4.61, 6: 3.08,
    10: 1.83, 16: 1.15, 25: 0.727, 35: 0.524, 50: 0.387, 70: 0.268,
    95: 0.193, 120: 0.153, 150: 0.124, 185: 0.0991, 240: 0.0754, 300: 0.0601,
}  # fmt: skip

#: Ratings that fuses and breakers come in [A].
FUSES_A: Final[tuple[float, ...]] = (
    1, 3, 6, 10, 15, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100, 110, 125, 150, 175, 200, 225, 250, 300, 350, 400,
    450, 500, 600,
)  # fmt: skip
FUSES_SOURCE: Final = "NEC 240.6(A), standard ratings (from memory)"
FUSES_BY_AREA_A: Final[tuple[float, ...]] = (
    2, 4, 6, 10, 16, 20, 25, 32, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630,
)  # fmt: skip
FUSES_BY_AREA_SOURCE: Final = "IEC 60269-1, preferred ratings (from memory)"

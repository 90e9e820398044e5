"""Exact or published factors between other units and those used inside.

Source: NIST Special Publication 811 (2008), appendix B.8; the gallon is the US liquid gallon.
"""

from __future__ import annotations

from typing import Final

L_PER_GAL: Final = 3.785411784
KPA_PER_PSI: Final = 6.894757293168
KPA_PER_BAR: Final = 100.0  # exact
M_PER_FT: Final = 0.3048
W_PER_HP: Final = 745.69987158  # mechanical horsepower, 550 ft lbf/s

"""Water from a pressure tank: what one cycle gives, by Boyle's law."""

from __future__ import annotations

from typing import Final

from .refusal import Refusal

SEA_LEVEL_KPA: Final = 101.325  # standard atmosphere, ISO 2533


def atmosphere_kPa(altitude_m: float) -> float:
    """Return the usual air pressure at an altitude, by the standard atmosphere.

    Parameters
    ----------
    altitude_m : float
        Height above the sea. [m]

    Returns
    -------
    float
        Absolute pressure; weather moves it by a few percent. [kPa]

    Raises
    ------
    Refusal
        If the altitude is not on the ground or in the lower atmosphere, below which the formula holds.

    References
    ----------
    ISO 2533:1975, layer up to 11 km: 288.15 K at the sea, 6.5 K/km, exponent 5.2559 (from memory).
    """
    if not -1000 <= altitude_m <= 11_000:
        raise Refusal(f"an altitude of {altitude_m:g} m is not one a pump stands at; correct altitude_m")
    return float(SEA_LEVEL_KPA * (1 - 0.0065 * altitude_m / 288.15) ** 5.2559)


def drawdown_L(
    volume_L: float,
    precharge_kPa: float,
    cut_in_kPa: float,
    cut_out_kPa: float,
    atmosphere_kPa: float = SEA_LEVEL_KPA,
) -> float:
    """Return the water a pressure tank gives between cut-out and cut-in.

    The air that filled the whole tank at pre-charge is squeezed by Boyle's law, at one temperature: the water given is
    volume x (P1/P2 - P1/P3), with absolute pressures P1 pre-charge, P2 cut-in, P3 cut-out.

    Parameters
    ----------
    volume_L : float
        The whole tank, air and water. [L]
    precharge_kPa, cut_in_kPa, cut_out_kPa : float
        Gauge pressures; pre-charge is that of the tank empty of water. [kPa]
    atmosphere_kPa : float
        Absolute air pressure at the place. [kPa]

    Returns
    -------
    float
        Water from cut-out down to cut-in. Where the pre-charge is above cut-in, the tank runs empty at pre-charge and
        gives only what it holds above that. A bladder may allow less. [L]

    Raises
    ------
    Refusal
        If the tank has no volume, or the pressures cannot be so.

    References
    ----------
    National Driller, 2004-2008 (B. Pelikan): 28/30/50 psi gives 0.295 of the volume.
    """
    if not volume_L > 0:
        raise Refusal("a tank without volume gives no water; correct the tank's volume")
    if not precharge_kPa >= 0 or not 0 <= cut_in_kPa < cut_out_kPa or not atmosphere_kPa > 0:
        raise Refusal("the tank's pressures cannot be so: pre-charge at least 0, cut-in below cut-out")
    air, low, high = (p + atmosphere_kPa for p in (precharge_kPa, cut_in_kPa, cut_out_kPa))
    if air >= high:
        return 0.0  # the air alone stands above cut-out: no water ever gets in
    return volume_L * (air / max(low, air) - air / high)

"""A site with one load, by its plate."""

from shuntbook.analysis.site.site import Site


def make(load: dict, *, inverter: dict | None = None, nominal_V: float = 12.0) -> Site:
    """Return a site with one inverter and one load on it; ``inverter`` None leaves its efficiency open."""
    return Site.model_validate(
        {
            "name": "shed",
            "bank": {"nominal_V": nominal_V, "capacity_Ah": 100},
            "inverters": [{"name": "inverter", "continuous_VA": 3000} | (inverter or {})],
            "loads": [{"name": "load", "inverter": "inverter", "voltage_V": 230} | load],
        }
    )

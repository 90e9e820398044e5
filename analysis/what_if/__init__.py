"""What a change of the system would do: changes applied to a site, and what they make of a load, before and after."""

__all__ = ["cables", "changes", "charger_change", "figures", "sizes", "start_change", "what_if"]

"""By day and demo: what was drawn and given back, how hard, and when the array had paid it back."""

__all__ = ["falls", "ledger", "loads_use", "local_days", "payback", "running_charge", "sources", "sustained"]

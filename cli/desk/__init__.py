"""The desk: pages on this computer alone that lead from a meter or an export to the answer, over ordinary files."""

__all__ = ["server"]

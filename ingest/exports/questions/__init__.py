"""What is asked of an export that can be read in two ways: the sentence, and the choices that settle it."""

__all__ = ["columns", "rows", "signs", "times", "units"]

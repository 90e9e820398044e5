"""Analysis: arrays and descriptions in, results out; opens no file and prints nothing."""

__all__ = ["cautions", "not_known", "wording"]

"""Readings as arrays: chunks and folds, what a reading stands for, exact integrals; no pump, no bank."""

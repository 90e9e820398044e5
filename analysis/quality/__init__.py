"""How good a log is, part by part, and what it is good for."""

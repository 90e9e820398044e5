"""How sure: a meter's figures, and the 95 % intervals of amounts and of runs."""

"""Paper, nameplate, measured: the three sums of a load, and the reasons between them."""

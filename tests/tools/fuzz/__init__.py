"""Wrong input of every kind, made by chance from a seed, and the law that what meets it must keep."""

"""Analysis: arrays and descriptions in, results out; opens no file and prints nothing."""

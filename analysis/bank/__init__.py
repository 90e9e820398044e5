"""What the bank can do: its limits, sag and resistance, state of charge, and the word on the whole system."""

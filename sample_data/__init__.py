"""The invented scenario's exports, site file and the generator that made them."""

"""Two logs on either side of one inverter: their clocks, their steps, what the inverter loses."""

"""What the things on the site can do: inverter, conductor and fuse, array, tank and pump."""

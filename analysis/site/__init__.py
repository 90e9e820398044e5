"""What a site file may say: its tables, units, and the published tables of motors and copper. Reads no file."""

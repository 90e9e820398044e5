"""Files that are whole or absent: written beside their place, locked, their rejects kept."""

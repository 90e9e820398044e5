"""Templates of the desk, as package data."""

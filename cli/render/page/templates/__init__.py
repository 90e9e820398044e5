"""Templates of the page, as package data."""

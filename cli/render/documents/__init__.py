"""Results as JSON and CSV: the keys scripts rely on."""

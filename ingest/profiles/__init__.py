"""Source profiles: TOML that says how a source's fields become quantities."""

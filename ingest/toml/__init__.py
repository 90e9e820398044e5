"""Settings files: read, and every mistake in them told with its line."""

__all__ = ["amounts", "bounds", "edit", "mistakes", "places", "repair", "toml_file"]

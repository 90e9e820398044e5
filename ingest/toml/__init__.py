"""Settings files: read, and every mistake in them told with its line."""

__all__ = ["places", "toml_file"]

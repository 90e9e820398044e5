"""Live sources, and the loop that reads them."""

__all__ = ["address", "capture", "serial_port", "source"]

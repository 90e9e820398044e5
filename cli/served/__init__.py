"""What a page of ours on this computer rests on: who may ask, where it listens, a server that keeps quiet."""

__all__ = ["access", "address", "guarded", "quiet"]

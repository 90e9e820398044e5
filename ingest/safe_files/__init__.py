"""Files that are whole or absent: written beside their place, locked, their rejects kept."""

__all__ = ["file_lock", "own_folder", "rejects", "whole_file"]

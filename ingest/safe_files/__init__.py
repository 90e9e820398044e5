"""Files that are whole or absent: written beside their place, locked, their rejects kept."""

__all__ = ["ahead", "file_lock", "hidden_place", "own_folder", "rejects", "whole_file"]

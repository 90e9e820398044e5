"""Pictures that make a film, and when each was taken: files of a folder, a stream of them, what a film's file tells."""

__all__ = ["decoded", "film_file", "stills", "stream"]

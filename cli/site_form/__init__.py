"""A system as a form: its fields, what is typed into them, and what is said of each; knows no page and no terminal."""

__all__ = ["filled", "form", "interview", "opened", "questions", "remarks", "sheet", "site_files", "system", "typed"]

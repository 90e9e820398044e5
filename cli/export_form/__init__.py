"""An export as a form: a person's answers field by field, what is made of them, what is asked; knows no page."""

__all__ = ["answers", "profiles", "reading", "seen", "words"]

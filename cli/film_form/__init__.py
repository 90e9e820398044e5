"""A display profile as a form: a person's boxes field by field, what is read in each, its text; knows no page."""

__all__ = ["boxes", "profile_text", "reading"]

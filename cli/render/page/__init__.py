"""The page: its sections, figures, tables and templates."""

__all__ = ["figures", "log_tables", "page", "paper", "section", "templated"]

"""The page: its sections, figures, tables and templates."""

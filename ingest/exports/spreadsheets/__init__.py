"""Tables inside other files: a workbook's sheet, an archive's one table."""

__all__ = ["container"]

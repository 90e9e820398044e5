"""shuntbook: from a meter's log to amp-hours, pump cycles and a page others understand.

In a notebook::

    import shuntbook
    shuntbook.open_log("pump.parquet").to_pandas()
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .ingest.journal.opening import open_log
    from .ingest.log.log import Log

__all__ = ["Log", "__version__", "open_log"]
__version__ = "0.2.0"


def __getattr__(name: str) -> Any:  # noqa: ANN401 - the loader of a module's public names
    """Import the log reader only when it is asked for, so that ``shuntbook --help`` stays quick."""
    if name == "Log":
        from .ingest.log.log import Log

        return Log
    if name == "open_log":
        from .ingest.journal.opening import open_log

        return open_log
    raise AttributeError(f"module 'shuntbook' has no attribute {name!r}")

"""shuntbook: from a meter's log to amp-hours, pump cycles and a page others understand.

In a notebook::

    import shuntbook
    shuntbook.open_log("pump.parquet").to_pandas()
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .ingest.log import Log, open_log

__all__ = ["Log", "__version__", "open_log"]
__version__ = "0.1.0"


def __getattr__(name: str) -> Any:  # noqa: ANN401 - the loader of a module's public names
    """Import the log reader only when it is asked for, so that ``shuntbook --help`` stays quick."""
    if name in ("Log", "open_log"):
        from .ingest import log

        return getattr(log, name)
    raise AttributeError(f"module 'shuntbook' has no attribute {name!r}")

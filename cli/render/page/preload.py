"""Load what the page needs while something else is worked out."""

from __future__ import annotations


def load_page() -> None:
    """Load what a page is made with but for drawing, while there is nothing to put on it."""
    from shuntbook.cli.render.plots import chart  # noqa: F401


def load_library() -> None:
    """Load what drawing takes longest to load, before there is anything to draw."""
    import matplotlib.backends.backend_svg
    import matplotlib.dates
    import matplotlib.figure  # noqa: F401

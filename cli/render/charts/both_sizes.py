"""Drawings for a wide and for a narrow screen, made beside the page's words where there is a second process."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import partial

from shuntbook.cli.parallel.worker_process import HERE, Second

from . import svg

#: What waits for a drawing in both sizes, the wide one first.
Drawn = Callable[[], tuple[str, str]]

_BOTH = (svg.WIDE, svg.NARROW)

_drawn_by: ContextVar[Second] = ContextVar("drawn_by", default=HERE)


@contextmanager
def drawn_by(second: Second) -> Iterator[None]:
    """Let what is drawn in the block be drawn there."""
    before = _drawn_by.set(second)
    try:
        yield
    finally:
        _drawn_by.reset(before)


def both_sizes(draw: Callable[..., str], name: str, frames: tuple[svg.Frame, svg.Frame] = _BOTH) -> Drawn:
    """Begin a drawing for a wide and for a narrow screen.

    Parameters
    ----------
    draw : callable
        Draws for a ``frame``, under a ``name`` that is unique on the page; a function of a module with all else that it
        needs, bound by `functools.partial`.
    name : str
        What the names of both begin with.
    frames : (Frame, Frame)
        Their sizes.
    """
    return _drawn_by.get().begin(partial(_drawn, draw, name, frames))


def _drawn(draw: Callable[..., str], name: str, frames: tuple[svg.Frame, svg.Frame]) -> tuple[str, str]:
    wide, narrow = (draw(name=f"{name}-{frame.name}", frame=frame) for frame in frames)
    return wide, narrow

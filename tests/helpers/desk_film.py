"""The film that tests of films and of the desk ask about, made once in a run."""

from film_plans import plan_of
from film_reading import filmed
from made_once import made_once

_SEED, _LENGTH_S = 5, 7.0


def desk_film(factory):
    """Return the film's plan and where it lies; `factory` is pytest's own for temporary folders."""
    folder = made_once(factory, "film of the desk", lambda making: filmed(_SEED, making, length_s=_LENGTH_S))
    return plan_of(_SEED, length_s=_LENGTH_S), next(folder.glob("film_*"))

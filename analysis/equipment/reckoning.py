"""A chain of figures, each with where it is from, so that a reader can follow a result back to the plate."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class ChainStep:
    """One step of a chain: its name, its value in `unit`, and where the value is from."""

    step: str
    value: float
    unit: str
    origin: str


@dataclass
class Chain:
    """The steps and the assumptions collected while a figure is worked out."""

    steps: list[ChainStep] = field(default_factory=list)
    assumptions: list[str] = field(default_factory=list)

    def add(self, step: str, value: float, unit: str, origin: str) -> float:
        """Add a step and return its value."""
        self.steps.append(ChainStep(step, value, unit, origin))
        return value

    def assume(self, step: str, value: float, unit: str, *, source: str, because: str) -> float:
        """Add a step that rests on an assumption: `because` names what is not known, `source` where the value is from.

        Returns
        -------
        float
            The value.
        """
        self.assumptions.append(f"{because}; {step} taken as {value:.4g} {unit}".rstrip() + f": {source}.")
        return self.add(step, value, unit, f"assumed: {source}")

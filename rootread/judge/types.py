"""What the judge stage hands on: layers, and the wall's grade with its parts."""

from dataclasses import dataclass
from typing import Literal

from rootread.measure.types import Interval

Verdict = Literal["open", "slowed", "turned", "stopped"]


@dataclass(frozen=True)
class Layer:
    """A depth at which turns, runs and stops gather."""

    depth_in: float
    depth_se_in: float
    x_from_in: float
    x_to_in: float
    reached: int
    crossed: int
    turned: int
    stopped: int
    sideways_in: float
    p_value: float
    recorded: str | None
    """The field sheet's layer it matches, as written there."""

    @property
    def passage(self) -> float:
        """Share of the roots that reach the layer which cross it; NaN if none reach it."""
        return self.crossed / self.reached if self.reached else float("nan")


@dataclass(frozen=True)
class GradePart:
    """One part of the grade: 0 (worst) to 100, with its share of the whole."""

    name: str
    score: float
    weight: float
    reason: str
    """One plain sentence with the figure behind the score."""


@dataclass(frozen=True)
class Grade:
    """The wall's 0-100 score with its parts and its interval."""

    score: Interval
    parts: tuple[GradePart, ...]
    verdict: str
    """A verdict word, or two ("slowed or turned") when the interval straddles an edge."""

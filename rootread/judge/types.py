"""What the judge stage hands on: layers, and the wall's grade with its parts."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from rootread.judge.shape import LayerLine, level_line
from rootread.measure.types import Interval

Verdict = Literal["open", "slowed", "turned", "stopped"]


NO_EVIDENCE = 1.0
"""p value of a layer that only a person saw: its roots gather no more than chance would have it."""


@dataclass(frozen=True)
class Layer:
    """A depth at which turns, runs, stops and changes of width gather."""

    depth_in: float
    """Mean depth over the stretch of wall in which it was seen."""
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
    fitted: LayerLine | None = None
    """Its depth along the wall, where it is not the same everywhere."""

    @property
    def line(self) -> LayerLine:
        """Its depth along the wall."""
        return self.fitted or level_line(self.depth_in, self.x_from_in, self.x_to_in)

    @property
    def depth_range_in(self) -> tuple[float, float]:
        """The least and the greatest depth of its line."""
        depths = [depth for _, depth in self.line.line_in]
        return min(depths), max(depths)

    @property
    def held(self) -> int:
        """Roots that turned or stopped at it."""
        return self.turned + self.stopped

    @property
    def shown_by_roots(self) -> bool:
        """Whether roots gather there; else a person marked it, or marked it elsewhere than they do."""
        return self.held > 0 and self.p_value < NO_EVIDENCE

    @property
    def passage(self) -> float:
        """Share of the roots that reach the layer which cross it; NaN if none reach it."""
        return self.crossed / self.reached if self.reached else float("nan")

    @property
    def passage_interval(self) -> Interval:
        """Passage with Wilson's 95 % interval of a share.

        Wilson 1927, J. American Statistical Association 22:209-212 (from memory):
        centre ``(k + z^2/2) / (n + z^2)``, half width
        ``z sqrt(k (n - k) / n + z^2/4) / (n + z^2)``.
        """
        if not self.reached:
            return Interval(float("nan"), 0.0, 1.0)
        z, k, n = 1.959964, self.crossed, self.reached
        centre = (k + z * z / 2) / (n + z * z)
        half = z * np.sqrt(k * (n - k) / n + z * z / 4) / (n + z * z)
        return Interval(self.passage, float(centre - half), float(centre + half))


@dataclass(frozen=True, eq=False)
class PassageCurve:
    """Share of roots that get down to each depth without being turned or stopped."""

    depth_in: NDArray[np.float64]
    """``(D,)`` depths, rising."""
    share: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    """``(D,)`` the 95 % interval of the share."""
    at_risk: NDArray[np.float64]
    """``(D,)`` roots seen at the depth, doubtful ones for less."""


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

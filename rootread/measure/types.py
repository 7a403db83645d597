"""What the measure stage hands on: the figures of each root and of the wall."""

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from rootread.follow.types import Trace
from rootread.measure.direction import goes_down


@dataclass(frozen=True)
class Interval:
    """A figure with the range that should hold the truth 95 % of the time."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class PatternBand:
    """The growth pattern as descents below horizontal, its edges widened by what angles are unsure by."""

    low_deg: float
    high_deg: float
    widened_by_deg: float

    @property
    def free_from_deg(self) -> float:
        """Descent from which a root counts as going down freely."""
        return self.low_deg - self.widened_by_deg


@dataclass(frozen=True)
class PlaneErrors:
    """What the wall plane is unsure by; every figure in inches or degrees carries it."""

    level_se_deg: float
    scale_se: float
    """As a share of every length."""
    surface_se_in: float
    """Of the depth below the soil surface."""

    def depth_se_in(self, depth_in: float) -> float:
        """Standard error that scale and surface add to a depth."""
        return float(np.hypot(self.scale_se * depth_in, self.surface_se_in))


@dataclass(frozen=True)
class SidewaysRun:
    """A stretch that stays near level for long enough."""

    root: str
    depth_in: float
    x_from_in: float
    x_to_in: float
    length_in: float


@dataclass(frozen=True)
class Turn:
    """The place where a descending root goes near level."""

    root: str
    x_in: float
    depth_in: float
    settled_depth_in: float
    """Mean depth over the inch after the turn, where the root runs near level."""


CrackSign = Literal["seen", "upright"]
"""How a crack is known: its dark line is seen, or the root left its course to go upright in it."""


@dataclass(frozen=True)
class FlatStretch:
    """A flattened stretch of a root."""

    root: str
    depth_in: float
    x_in: float
    """Of its middle."""
    length_in: float
    crack: CrackSign | None
    """How the crack is known in which it lies; None where it lies in none."""


@dataclass(frozen=True, eq=False)
class RootReading:
    """The figures of one trace."""

    trace: Trace
    """Resampled every 0.05 in and smoothed."""
    length_in: float
    chord_in: float
    tortuosity: float
    turning_deg_per_in: float
    descent_deg: float
    chord_descent_deg: float
    width_in: float
    flattened_share: float
    descent_at_deg: NDArray[np.float64]
    """``(N,)`` descent at each point of the trace, tangent over 1 in."""
    flattened: NDArray[np.bool_]
    """``(N,)`` True in a flattened stretch."""
    runs: tuple[SidewaysRun, ...]
    turns: tuple[Turn, ...]

    @property
    def sideways_in(self) -> float:
        """Inches run sideways."""
        return sum(run.length_in for run in self.runs)

    @property
    def flat_or_round(self) -> NDArray[np.bool_]:
        """``(N,)`` True where it is known which it is: where the root was seen, or a person marked it."""
        known: NDArray[np.bool_] = ~self.trace.inferred | self.flattened
        return known

    @property
    def _down(self) -> float:
        """+1 if the trace leads down, -1 if its tip lies above its base.

        The ends of a trace are not always told apart, so what is said of a
        wall is read on the way down.
        """
        return 1.0 if goes_down(self.trace.points) else -1.0

    @cached_property
    def descent_down_deg(self) -> NDArray[np.float64]:
        """``(N,)`` descent at each point, read on the way down."""
        return self._down * self.descent_at_deg

    @cached_property
    def rightward(self) -> NDArray[np.float64]:
        """``(N,)`` +1 where the way down leads right, -1 where left."""
        return np.sign(np.gradient(self.trace.points[:, 0])) * self._down


@dataclass(frozen=True)
class WallIntervals:
    """The figures of a wall again, each with its 95 % interval."""

    root_length_in: Interval
    shallow_share: Interval
    in_pattern_share: Interval
    steep_share: Interval
    tortuosity: Interval
    flattened_share: Interval
    sideways_in: Interval


@dataclass(frozen=True, eq=False)
class Readings:
    """The figures of a wall, root by root and in sum."""

    roots: tuple[RootReading, ...]
    pattern: PatternBand
    errors: PlaneErrors
    counted_width_in: float
    """Thinner roots do not count toward the wall's descent, shares and grade."""
    root_length_in: float
    descent: Interval
    shallow_share: float
    in_pattern_share: float
    steep_share: float
    tortuosity: float
    """Length-weighted mean over the roots."""
    flattened_share: float
    flats: tuple[FlatStretch, ...]
    """Every flattened stretch, root by root."""
    flattened_in_cracks: float
    """Share of the flattened length that lies in cracks; NaN where nothing is flattened."""
    sideways_in: float
    intervals: WallIntervals
    density: NDArray[np.float64]
    """``(rows, columns)`` inches of root per square inch of wall in 2 in cells."""
    density_x_in: NDArray[np.float64]
    """``(columns + 1,)`` cell edges."""
    density_z_in: NDArray[np.float64]
    """``(rows + 1,)`` cell edges."""

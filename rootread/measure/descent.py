"""The wall's mean descent, and the shares of root length below, in and above the growth pattern."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.measure import calibrated
from rootread.measure.counting import counted_points, weight_in_descent
from rootread.measure.intervals import ratio_interval
from rootread.measure.types import Interval, PatternBand, RootReading
from rootread.settings import MeasureSettings

Values = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class CountedDescents:
    """The descents of the wall that count, root by root."""

    descent_deg: tuple[Values, ...]
    """For each root ``(K,)`` descents read on the way down."""
    rightward: tuple[Values, ...]
    """For each root ``(K,)`` +1 where the way down leads right, -1 where left."""
    confidence: Values
    """``(R,)`` chance that each trace is a root, followed right."""
    weight: Values
    """``(R,)`` how much each root counts."""

    @property
    def lengths(self) -> Values:
        """``(R,)`` how many descents of each root count."""
        return np.array([len(descent) for descent in self.descent_deg], dtype=float)

    def mean(
        self,
        values: Sequence[NDArray[np.generic]],
        other_se: float = 0.0,
        least: float = -np.inf,
        shift: float = 0.0,
        most: float = np.inf,
    ) -> Interval:
        """Mean over the wall of one value a descent; the rest is as ``ratio_interval`` takes it."""
        sums = np.array([value.sum() for value in values], dtype=float)
        return ratio_interval(sums, self.lengths, self.confidence, other_se, least, shift, most, self.weight)


@dataclass(frozen=True)
class PatternShares:
    """Shares of root length against the growth pattern; their values sum to 1."""

    shallow: Interval
    in_pattern: Interval
    steep: Interval


def counted_descents(roots: Sequence[RootReading], settings: MeasureSettings) -> CountedDescents:
    """Descents on the way down, where roots are thick enough to count.

    Bridged stretches were not seen and are left out, as are stretches thinner
    than ``counted_width_in``: which of those a photo shows depends on light
    and soil more than on the wall.
    """
    counts = [counted_points(root, settings.counted_width_in) for root in roots]
    return CountedDescents(
        descent_deg=tuple(root.descent_down_deg[c] for root, c in zip(roots, counts, strict=True)),
        rightward=tuple(root.rightward[c] for root, c in zip(roots, counts, strict=True)),
        confidence=np.array([root.trace.confidence for root in roots]),
        weight=np.array([weight_in_descent(root) for root in roots]),
    )


def wall_descent(counted: CountedDescents, level_se_deg: float) -> Interval:
    """Length-weighted mean descent with the range that should hold the wall's true mean.

    An error of the level turns roots that lead left and right opposite ways,
    so that it mostly cancels.
    """
    imbalance = counted.mean(counted.rightward).value
    other_se = float(np.hypot(level_se_deg * imbalance, calibrated.DESCENT_SE_DEG))
    return counted.mean(counted.descent_deg, other_se)


def pattern_shares(counted: CountedDescents, band: PatternBand, level_se_deg: float) -> PatternShares:
    """Shares of root length below, in and above the widened band.

    The level's error counts by how much the shares change when it is turned
    by one standard error, as if it turned all roots the same way.
    """
    low, high = band.low_deg - band.widened_by_deg, band.high_deg + band.widened_by_deg

    def shallow(turned_deg: float) -> list[NDArray[np.generic]]:
        return [descent + turned_deg < low for descent in counted.descent_deg]

    def steep(turned_deg: float) -> list[NDArray[np.generic]]:
        return [descent + turned_deg > high for descent in counted.descent_deg]

    def within(turned_deg: float) -> list[NDArray[np.generic]]:
        return [
            (descent + turned_deg >= low) & (descent + turned_deg <= high) for descent in counted.descent_deg
        ]

    def share(inside: Callable[[float], list[NDArray[np.generic]]], shift: float, se: float) -> Interval:
        turned = [counted.mean(inside(side * level_se_deg)).value for side in (-1.0, 1.0)]
        other_se = float(np.hypot((turned[1] - turned[0]) / 2, se))
        return counted.mean(inside(0.0), other_se, 0.0, shift, 1.0)

    return PatternShares(
        share(shallow, calibrated.SHALLOW_SHIFT, calibrated.SHALLOW_SE),
        share(within, calibrated.IN_PATTERN_SHIFT, calibrated.IN_PATTERN_SE),
        share(steep, calibrated.STEEP_SHIFT, calibrated.STEEP_SE),
    )

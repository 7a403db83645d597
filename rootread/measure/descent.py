"""The wall's mean descent and how sure it is."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.measure.types import Interval, RootReading
from rootread.settings import MeasureSettings

UNSEEN_SHARE = 0.15
"""Share of the root length that a reading misses or gets wrong; what it reads is a sample of the wall
with this much left out."""
TRACING_SE_DEG = 0.5
"""What following and smoothing centrelines adds to the error of the mean."""
NORMAL_95 = 1.96


@dataclass(frozen=True, eq=False)
class CountedDescents:
    """The descents of one root that count toward the wall's mean."""

    descent_deg: NDArray[np.float64]
    """``(K,)`` read on the way down."""
    rightward: NDArray[np.float64]
    """``(K,)`` +1 where the way down leads right, -1 where left."""


def counted_descents(root: RootReading, settings: MeasureSettings) -> CountedDescents:
    """Descents of a root on the way down, where it is thick enough to count.

    Bridged stretches were not seen and
    are left out, as are stretches thinner than ``counted_width_in``: which of
    those a photo shows depends on light and soil more than on the wall.
    """
    counts = (root.trace.width_in >= settings.counted_width_in) & ~root.trace.inferred
    return CountedDescents(root.descent_down_deg[counts], root.rightward[counts])


def wall_descent(counted: Sequence[CountedDescents], level_se_deg: float) -> Interval:
    """Length-weighted mean descent with the range that should hold the wall's true mean.

    The roots that were read are a sample of the wall's roots, drawn without
    replacement, so the variance of their mean carries the finite-population
    correction: it is the usual variance between roots, times the share left
    out (Cochran, Sampling Techniques, ch. 2; from memory). Roots of one wall
    do not stand for another pit, so the interval does not claim to.
    An error of the level turns roots that lead left and right opposite ways
    and mostly cancels.
    """
    lengths = np.array([len(c.descent_deg) for c in counted], dtype=float)
    total = lengths.sum()
    if total == 0:
        return Interval(np.nan, np.nan, np.nan)
    sums = np.array([c.descent_deg.sum() for c in counted])
    mean = float(sums.sum() / total)
    # variance of a ratio of sums over roots: sum (y_i - mean n_i)^2 / (sum n_i)^2
    between_roots = float(np.sum((sums - mean * lengths) ** 2)) / total**2
    imbalance = float(sum(c.rightward.sum() for c in counted)) / total
    se = float(np.sqrt(UNSEEN_SHARE * between_roots + (level_se_deg * imbalance) ** 2 + TRACING_SE_DEG**2))
    return Interval(mean, mean - NORMAL_95 * se, mean + NORMAL_95 * se)

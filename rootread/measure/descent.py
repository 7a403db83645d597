"""The wall's mean descent and how sure it is."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.measure.types import Interval, RootReading
from rootread.settings import MeasureSettings

UNSEEN_SHARE = 0.15
"""Share of the root length that a reading misses; what it reads is a sample of the wall with this much
left out."""
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
    confidence: float
    """Chance that the trace is a root, followed right."""


def counted_descents(root: RootReading, settings: MeasureSettings) -> CountedDescents:
    """Descents of a root on the way down, where it is thick enough to count.

    Bridged stretches were not seen and are left out, as are stretches thinner
    than ``counted_width_in``: which of those a photo shows depends on light
    and soil more than on the wall.
    """
    counts = (root.trace.width_in >= settings.counted_width_in) & ~root.trace.inferred
    return CountedDescents(root.descent_down_deg[counts], root.rightward[counts], root.trace.confidence)


def wall_descent(counted: Sequence[CountedDescents], level_se_deg: float) -> Interval:
    """Length-weighted mean descent with the range that should hold the wall's true mean.

    A trace counts by its confidence c, so the mean is that over the lengths
    to be expected. Three things make it unsure. The roots read are a sample of
    the wall's roots, drawn without replacement, so the variance of their mean
    is that between roots times the share u left out (finite-population
    correction; Cochran, Sampling Techniques, ch. 2; from memory). Whether a
    trace is a root at all is a toss with chance c, which adds (1 - c) / c of
    its share of the variance. And an error of the level turns roots that lead
    left and right opposite ways, so that it mostly cancels.
    Roots of one wall do not stand for another pit, and the interval does not
    claim to.
    """
    sure = np.array([c.confidence for c in counted])
    lengths = np.array([len(c.descent_deg) for c in counted], dtype=float) * sure
    total = float(lengths.sum())
    if total == 0:
        return Interval(np.nan, np.nan, np.nan)
    sums = np.array([c.descent_deg.sum() for c in counted]) * sure
    mean = float(sums.sum()) / total
    # variance of a ratio of sums over roots: sum (y_i - mean n_i)^2 / (sum n_i)^2
    between_roots = (sums - mean * lengths) ** 2 / total**2
    doubt = (1.0 - sure) / np.maximum(sure, 0.05)
    imbalance = float((np.array([c.rightward.sum() for c in counted]) * sure).sum()) / total
    variance = float(((UNSEEN_SHARE + doubt) * between_roots).sum())
    se = float(np.sqrt(variance + (level_se_deg * imbalance) ** 2 + TRACING_SE_DEG**2))
    return Interval(mean, mean - NORMAL_95 * se, mean + NORMAL_95 * se)

"""How sure a figure of the wall is, from what was read of its roots.

A trace counts by its confidence c. Two things make a mean over roots unsure.
The roots read are a sample of the wall's roots, drawn without replacement, so
the variance of their mean is that between roots times the share u left out
(finite-population correction; Cochran, Sampling Techniques, ch. 2; from
memory). And whether a trace is a root at all is a toss with chance c, which
adds (1 - c) / c of its share of the variance. Roots of one wall do not stand
for another pit, and the intervals do not claim to (Hurlbert 1984, Ecological
Monographs 54:187-211; from memory).
"""

import numpy as np
from numpy.typing import NDArray

from rootread.measure.calibrated import UNSEEN_SHARE
from rootread.measure.types import Interval

Values = NDArray[np.float64]

LEAST_CONFIDENCE = 0.05
NORMAL_95 = 1.96
"""Standard errors to either side that hold 95 % of a normal distribution."""
USUAL_PIECE_IN = 3.0
"""Length of a usual sideways run."""


def doubt(confidence: Values) -> Values:
    """``(R,)`` factor on each root's share of the variance: what is left out, and whether it is a root."""
    sure = np.maximum(confidence, LEAST_CONFIDENCE)
    return UNSEEN_SHARE + (1.0 - sure) / sure


def ratio_interval(
    parts: Values,
    wholes: Values,
    confidence: Values,
    other_se: float = 0.0,
    least: float = -np.inf,
    shift: float = 0.0,
    most: float = np.inf,
    weight: Values | None = None,
) -> Interval:
    """A mean over the wall, ``sum parts / sum wholes``, with its 95 % interval.

    Parameters
    ----------
    parts, wholes : ``(R,)`` what each root adds, such as the sum of its descents and the number of them.
    confidence : ``(R,)`` chance that each trace is a root, followed right.
    other_se : standard error from elsewhere, such as the wall's level.
    least, most : no interval reaches beyond.
    shift : by how much the truth lies above what is read, as a rule; it moves the interval alone.
    weight : ``(R,)`` how much each root counts; its confidence if nothing else is said. The doubt about a
        root is taken as if it counted by its confidence: for larger weights that is more than a toss asks.

    The variance of a ratio of sums over roots is
    ``sum (part - ratio whole)^2 / (sum whole)^2``.
    """
    weight = confidence if weight is None else weight
    parts, wholes = parts * weight, wholes * weight
    total = float(wholes.sum())
    if total == 0:
        return Interval(np.nan, np.nan, np.nan)
    ratio = float(parts.sum()) / total
    between_roots = (parts - ratio * wholes) ** 2 / total**2
    se = float(np.sqrt((doubt(confidence) * between_roots).sum() + other_se**2))
    return _around(ratio, se, least, ratio + shift, most)


def length_interval(
    lengths: Values, confidence: Values, scale_se: float, shift: float = 1.0, factor_se: float = 0.0
) -> Interval:
    """The length of all roots, with its 95 % interval.

    What is read of a wall's length errs by a factor, as often too small by some factor as too large by it, so
    that its logarithm is normal: the interval reaches farther up than down.

    Parameters
    ----------
    lengths, confidence : ``(R,)`` in, and the chance that each trace is a root, followed right.
    scale_se : of the wall's scale, a share of the length.
    shift : the truth over what is read, as a rule; it moves the interval alone.
    factor_se : of that factor's logarithm.
    """
    total = float(lengths.sum())
    if total == 0:
        return Interval(0.0, 0.0, 0.0)
    tosses = _toss_variance(lengths, confidence) / total**2
    factor = float(np.exp(NORMAL_95 * np.sqrt(tosses + scale_se**2 + factor_se**2)))
    return Interval(total, min(shift * total / factor, total), max(shift * total * factor, total))


def sideways_interval(
    runs_in: Values, confidence: Values, scale_se: float, shift: float = 1.0, spread: float = 0.0
) -> Interval:
    """The length that all roots ran sideways, with its 95 % interval.

    Parameters
    ----------
    runs_in, confidence : ``(R,)`` in, and the chance that each trace is a root, followed right.
    scale_se : of the wall's scale, a share of the length.
    shift : the truth over what is read, as a rule; it moves the interval alone.
    spread : error of a sum of pieces that are found or missed, per square root of an inch; a usual piece more
        may be missed wherever there are roots.
    """
    total = float(runs_in.sum())
    pieces = spread**2 * (total + USUAL_PIECE_IN) if len(runs_in) else 0.0
    se = float(np.sqrt(_toss_variance(runs_in, confidence) + (scale_se * total) ** 2 + pieces))
    return _around(total, se, 0.0, shift * total)


def _toss_variance(amounts: Values, confidence: Values) -> float:
    """Of a sum over traces, each of which is a root or none."""
    sure = np.maximum(confidence, LEAST_CONFIDENCE)
    return float(((1.0 - sure) / sure * amounts**2).sum())


def _around(value: float, se: float, least: float, centre: float, most: float = np.inf) -> Interval:
    """The interval about its centre, wide enough to hold the value too."""
    low, high = centre - NORMAL_95 * se, centre + NORMAL_95 * se
    return Interval(value, max(min(low, value), least), min(max(high, value), most))

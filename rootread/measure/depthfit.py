"""How root length is spread over depth: two published curves fitted to the wall.

What a wall cannot tell: root length density from a profile wall was 4 to 10
times lower than from cores, differently in each soil (comparison of four
rooting methods, Plant and Soil 172:63-71, 1995), and roots below the photo are
not seen. Compare walls of one soil and one depth; do not read the fits as
those of the soil.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import curve_fit

from rootread.measure.types import Interval, RootReading

CM_PER_IN = 2.54
STEP_IN = 0.5
RESAMPLES = 60
Values = NDArray[np.float64]


@dataclass(frozen=True)
class DepthFit:
    """Curves through the cumulative share of root length against depth."""

    beta: Interval
    """Of ``Y = 1 - beta^d``, d in cm."""
    d50_in: Interval
    """Depth above which half of the roots lie."""
    d95_in: Interval
    steepness: float
    """c of the logistic curve, below 0."""


def cumulative_beta(depth_cm: Values, beta: float) -> Values:
    """``Y = 1 - beta^d``: Gale and Grigal 1987, Can. J. Forest Res. 17:829-834 (from memory)."""
    return 1.0 - np.power(beta, depth_cm)


def cumulative_logistic(depth: Values, d50: float, c: float) -> Values:
    """``r / Rmax = 1 / (1 + (D / D50)^c)``, c < 0.

    Schenk and Jackson 2002, Ecological Monographs 72:311-328 (from memory).
    """
    return 1.0 / (1.0 + np.power(np.maximum(depth, 1e-6) / d50, c))


def d95_of(d50: float, c: float) -> float:
    """Depth above which 95 % of the roots lie: ``D95 = D50 x 19^(-1/c)`` (the same paper)."""
    return d50 * float(19.0 ** (-1.0 / c))


def fit_depths(depth_in: Values, share: Values) -> tuple[float, float, float]:
    """Least-squares beta, D50 (in) and c for cumulative shares at given depths."""
    (beta,), _ = curve_fit(cumulative_beta, depth_in * CM_PER_IN, share, p0=(0.96,), bounds=(0.5, 0.9999))
    half = float(np.interp(0.5, share, depth_in))
    (d50, c), _ = curve_fit(
        cumulative_logistic, depth_in, share, p0=(max(half, 0.5), -2.0), bounds=([0.05, -20.0], [200.0, -0.2])
    )
    return float(beta), float(d50), float(c)


def depth_fit(roots: Sequence[RootReading], rng: np.random.Generator) -> DepthFit | None:
    """Fit the wall's roots; None for fewer than three roots.

    The intervals draw the roots again with replacement; roots of one wall are
    no replicates of the field (Hurlbert 1984, Ecol. Monogr. 54:187-211; from
    memory), so they speak of roots like these in this wall.
    """
    if len(roots) < 3:
        return None
    deepest = max(float(root.trace.points[:, 1].max()) for root in roots)
    edges = np.arange(0.0, deepest + STEP_IN, STEP_IN)
    length = np.array([_length_by_depth(root, edges) for root in roots])
    whole = fit_depths(edges[1:], _cumulative(length.sum(axis=0)))
    again = rng.multinomial(len(roots), np.full(len(roots), 1 / len(roots)), size=RESAMPLES)
    drawn = np.array([fit_depths(edges[1:], _cumulative(row)) for row in again @ length if row.sum() > 0])
    d95 = np.array([d95_of(d50, c) for _, d50, c in drawn])
    return DepthFit(
        beta=_interval(whole[0], drawn[:, 0]),
        d50_in=_interval(whole[1], drawn[:, 1]),
        d95_in=_interval(d95_of(whole[1], whole[2]), d95),
        steepness=whole[2],
    )


def _length_by_depth(root: RootReading, edges: Values) -> Values:
    points = root.trace.points
    middle = (points[1:, 1] + points[:-1, 1]) / 2
    return np.histogram(middle, bins=edges, weights=np.hypot(*np.diff(points, axis=0).T))[0]


def _cumulative(length: Values) -> Values:
    summed = np.cumsum(length)
    return summed / summed[-1]


def _interval(value: float, drawn: Values) -> Interval:
    """95 % interval from the spread of resampled fits; their median deviation, as a fit may run away."""
    se = 1.4826 * float(np.median(np.abs(drawn - np.median(drawn))))
    return Interval(value, value - 1.96 * se, value + 1.96 * se)

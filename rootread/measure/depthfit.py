"""How root length is spread over depth: two published curves fitted to the wall.

What a wall cannot tell: root length density from a profile wall was 4 to 10
times lower than from cores, differently in each soil (comparison of four
rooting methods, Plant and Soil 172:63-71, 1995), and roots below the photo are
not seen. Compare walls of one soil and one depth; do not read the fits as
those of the soil.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.measure.intervals import NORMAL_95
from rootread.measure.types import Interval, RootReading
from rootread.units import CM_PER_IN

STEP_IN = 0.5
FEWEST_STEPS = 3
"""Of depth; a curve of two unknowns cannot be told from fewer."""
RESAMPLES = 60
BETA_LIMITS = np.array([0.5, 0.9999])
D50_LIMITS_IN = np.array([0.05, 200.0])
C_LIMITS = np.array([-20.0, -0.2])
MOST_STEPS = 60

Values = NDArray[np.float64]
Model = Callable[[Values], tuple[Values, Values]]


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


def d95_of(d50: Values, c: Values) -> Values:
    """Depth above which 95 % of the roots lie: ``D95 = D50 x 19^(-1/c)`` (Schenk and Jackson 2002)."""
    return d50 * np.power(19.0, -1.0 / c)


def fit_depths(depth_in: Values, shares: Values) -> tuple[Values, Values, Values]:
    """Least-squares beta, D50 (in) and c of many cumulative curves at once.

    ``Y = 1 - beta^d``, d in cm: Gale and Grigal 1987, Can. J. Forest Res.
    17:829-834. ``r / Rmax = 1 / (1 + (D / D50)^c)``, c < 0: Schenk and Jackson
    2002, Ecological Monographs 72:311-328. Both from memory.

    Parameters
    ----------
    depth_in : ``(N,)`` depths.
    shares : ``(K, N)`` cumulative shares of K curves.

    Returns
    -------
    Three ``(K,)`` arrays.
    """
    depth_cm, log_depth = depth_in * CM_PER_IN, np.log(np.maximum(depth_in, 1e-6))

    def by_beta(p: Values) -> tuple[Values, Values]:
        # beta^d = exp(-k d) with k = -ln beta.
        left = np.exp(-p[:, :1] * depth_cm)
        return 1.0 - left, (depth_cm * left)[..., None]

    def by_logistic(p: Values) -> tuple[Values, Values]:
        # With u = ln D50 and a = ln D - u: r = 1 / (1 + exp(c a)), dr/du = c r (1 - r), dr/dc = -a r (1 - r).
        away, c = log_depth - p[:, :1], p[:, 1:]
        r = 1.0 / (1.0 + np.exp(np.clip(c * away, -50.0, 50.0)))
        return r, np.stack([c * r * (1 - r), -away * r * (1 - r)], axis=-1)

    half = np.maximum([np.interp(0.5, share, depth_in) for share in shares], 0.5)
    rate = least_squares(
        by_beta, np.full((len(shares), 1), -np.log(0.96)), shares, -np.log(BETA_LIMITS[::-1])
    )
    limits = np.column_stack([np.log(D50_LIMITS_IN), C_LIMITS])
    logistic = least_squares(
        by_logistic, np.column_stack([np.log(half), np.full(len(half), -2.0)]), shares, limits
    )
    return np.exp(-rate[:, 0]), np.exp(logistic[:, 0]), logistic[:, 1]


def least_squares(model: Model, start: Values, observed: Values, limits: Values) -> Values:
    """Levenberg and Marquardt's method on K small problems at once, ``(K, P)``.

    Marquardt 1963, SIAM J. Appl. Math. 11:431-441 (from memory): the step
    solves ``(J'J + lambda diag J'J) step = J' residual``; lambda falls after a
    step that helped and grows after one that did not.

    Parameters
    ----------
    model : ``(K, P)`` parameters to ``(K, N)`` values and ``(K, N, P)`` derivatives.
    start : ``(K, P)``.
    observed : ``(K, N)``.
    limits : ``(2, P)`` lowest and highest of each parameter, or ``(2,)`` of the only one.
    """
    low, high = np.reshape(limits, (2, -1))
    at, damping = np.clip(start, low, high), np.full(len(start), 1e-2)
    values, slopes = model(at)
    error = np.sum((observed - values) ** 2, axis=1)
    for _ in range(MOST_STEPS):
        normal = np.einsum("knp,knq->kpq", slopes, slopes)
        pull = np.einsum("knp,kn->kp", slopes, observed - values)
        diagonal = np.einsum("kpp->kp", normal) + 1e-12
        damped = normal + np.eye(at.shape[1]) * (damping[:, None] * diagonal)[:, None, :]
        moved = np.clip(at + np.linalg.solve(damped, pull[..., None])[..., 0], low, high)
        new_values, new_slopes = model(moved)
        new_error = np.sum((observed - new_values) ** 2, axis=1)
        better = new_error <= error
        furthest = float(np.abs(moved - at)[better].max(initial=0.0))
        at, values, slopes = (
            np.where(better.reshape(-1, *[1] * (old.ndim - 1)), new, old)
            for new, old in ((moved, at), (new_values, values), (new_slopes, slopes))
        )
        error = np.where(better, new_error, error)
        damping = np.where(better, damping / 4, damping * 4)
        if better.all() and furthest < 1e-8:
            break
    return at


def depth_fit(roots: Sequence[RootReading], rng: np.random.Generator) -> DepthFit | None:
    """Fit the wall's roots; None for fewer than three roots, or where none is deeper than an inch.

    The intervals draw the roots again with replacement; roots of one wall are
    no replicates of the field (Hurlbert 1984, Ecol. Monogr. 54:187-211; from
    memory), so they speak of roots like these in this wall.
    """
    if len(roots) < 3:
        return None
    deepest = max(float(root.trace.points[:, 1].max()) for root in roots)
    edges = np.arange(0.0, deepest + STEP_IN, STEP_IN)
    if len(edges) <= FEWEST_STEPS:
        return None
    length = np.array([_length_by_depth(root, edges) for root in roots])
    again = rng.multinomial(len(roots), np.full(len(roots), 1 / len(roots)), size=RESAMPLES)
    summed = np.vstack([length.sum(axis=0), again @ length])
    # The first curve is the wall's own.
    beta, d50_in, c = fit_depths(edges[1:], _cumulative(summed[summed.sum(axis=1) > 0]))
    return DepthFit(_interval(beta), _interval(d50_in), _interval(d95_of(d50_in, c)), float(c[0]))


def _length_by_depth(root: RootReading, edges: Values) -> Values:
    points = root.trace.points
    middle = (points[1:, 1] + points[:-1, 1]) / 2
    return np.histogram(middle, bins=edges, weights=np.hypot(*np.diff(points, axis=0).T))[0]


def _cumulative(length: Values) -> Values:
    summed = np.cumsum(length, axis=-1)
    return summed / summed[..., -1:]


def _interval(fitted: Values) -> Interval:
    """The first, with a 95 % interval from the median deviation of the others, as a fit may run away."""
    value, drawn = float(fitted[0]), fitted[1:]
    se = 1.4826 * float(np.median(np.abs(drawn - np.median(drawn))))
    return Interval(value, value - NORMAL_95 * se, value + NORMAL_95 * se)

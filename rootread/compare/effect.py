"""How large a difference is, and how many pits it takes to see one."""

import math
from bisect import bisect_left
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from rootread.compare.chunks import chunks

Floats = NDArray[np.float64]

RESAMPLES = 4_000
LEVEL = 0.05
POWER = 0.80
"""A difference that matters should be seen 8 times in 10."""
MOST_PITS = 1_000
LEAST_PAIRS, LEAST_APIECE = 6, 4
"""With fewer no deal of the names is rarer than 1 in 20: 2 / 2^5 = 0.06 for five pairs, 2 / 20 = 0.1 for
three pits apiece; 2 / 2^6 = 0.03 and 2 / 70 = 0.03 are."""


@dataclass(frozen=True)
class Effect:
    """The first treatment less the second."""

    value: float
    low: float
    high: float
    """95 % interval; NaN where too few pits are there to give one."""

    def within(self, most: float) -> "Effect":
        """The same, its interval held to differences that can be."""
        return Effect(self.value, max(self.low, -most), min(self.high, most))


def paired_effect(differences: Floats, rng: np.random.Generator) -> Effect:
    """Mean difference of ``(n,)`` pits with its bootstrap interval."""
    free = len(differences) - 1
    drawn = _drawn_means(differences, rng)
    return _effect(float(differences.mean()), drawn, free)


def unpaired_effect(first: Floats, second: Floats, rng: np.random.Generator) -> Effect:
    """Difference of the means of two sets of pits with its bootstrap interval."""
    drawn = _drawn_means(first, rng) - _drawn_means(second, rng)
    return _effect(float(first.mean() - second.mean()), drawn, _welch_freedom(first, second))


def _drawn_means(values: Floats, rng: np.random.Generator) -> Floats:
    """Means of resamples, their spread about the mean set right for small n.

    A resample of n values spreads as if n - 1 stood under the variance's bar,
    not n; the square root of n / (n - 1) mends that.
    """
    n = len(values)
    drawn = np.concatenate(
        [values[rng.integers(n, size=(rows, n))].mean(axis=1) for rows in chunks(RESAMPLES, n)]
    )
    return values.mean() + (drawn - values.mean()) * math.sqrt(n / max(n - 1, 1))


def _effect(value: float, drawn: Floats, free: float) -> Effect:
    """Percentile interval, widened as Student's t is wider than the normal curve.

    Without that a handful of pits would give intervals that hold the truth
    three times in four (Hesterberg 2015, The American Statistician
    69:371-386; from memory).
    """
    if not free >= 1:
        return Effect(value, float("nan"), float("nan"))
    widen = stats.t.ppf(1 - LEVEL / 2, free) / stats.norm.ppf(1 - LEVEL / 2)
    low, high = np.quantile(drawn, [LEVEL / 2, 1 - LEVEL / 2])
    return Effect(value, float(value + (low - value) * widen), float(value + (high - value) * widen))


def _welch_freedom(first: Floats, second: Floats) -> float:
    """Degrees of freedom of a difference of means (Welch 1947, Biometrika 34:28-35; from memory)."""
    if min(len(first), len(second)) < 2:
        return float("nan")
    parts = [values.var(ddof=1) / len(values) for values in (first, second)]
    below = sum(part**2 / (len(values) - 1) for part, values in zip(parts, (first, second), strict=True))
    return float(sum(parts) ** 2 / below) if below > 0 else float(len(first) + len(second) - 2)


def pits_needed(difference: float, sd: float, paired: bool) -> int | None:
    """Pits with both treatments, or pits of each, to see a difference 8 times in 10.

    Parameters
    ----------
    difference : the one that matters.
    sd : standard deviation of the pits' differences, or of the pits.

    Power of the t test from the noncentral t distribution; at least as many
    as let the randomisation test reach 1 in 20. None for more than 1,000.
    """
    least = LEAST_PAIRS if paired else LEAST_APIECE
    if not (math.isfinite(sd) and difference > 0):
        return None
    # Power rises with every pit, so the first number that is enough can be halved in on.
    sizes = range(least, MOST_PITS + 1)
    place = bisect_left(sizes, POWER, key=lambda n: _power(difference, sd, n, paired))
    return sizes[place] if place < len(sizes) else None


def _power(difference: float, sd: float, n: int, paired: bool) -> float:
    if sd <= 0:
        return 1.0
    free = n - 1 if paired else 2 * n - 2
    shift = difference / sd * math.sqrt(n if paired else n / 2)
    edge = float(stats.t.ppf(1 - LEVEL / 2, free))
    return float(stats.nct.sf(edge, free, shift) + stats.nct.cdf(-edge, free, shift))


def holm(p_values: list[float]) -> list[float]:
    """p values corrected for how many questions were asked.

    Holm 1979, Scandinavian J. of Statistics 6:65-70 (from memory): the
    smallest is multiplied by the number of tests, the next by one less, and
    none may fall below one before it.
    """
    order = np.argsort(p_values, kind="stable")
    corrected = [0.0] * len(p_values)
    highest = 0.0
    for rank, index in enumerate(order.tolist()):
        highest = max(highest, min((len(p_values) - rank) * p_values[index], 1.0))
        corrected[index] = highest
    return corrected

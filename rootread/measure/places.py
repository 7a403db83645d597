"""Descent by depth, and by position along the wall, each with its interval."""

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from rootread.measure.counting import counted_points, weight_in_descent
from rootread.measure.intervals import ratio_interval
from rootread.measure.types import Interval, Readings

Along = Literal["depth", "x"]
DEPTH_STEP_IN = 2.0
X_STEP_IN = 4.0
LEAST_LENGTH_IN = 4.0
"""With less root than this a slice says nothing about the wall's descent."""
FEWEST_ROOTS = 2.0
"""Nor does one root alone, which cannot show how far roots lie apart there; roots count as many as they weigh
alike: (sum l)^2 / sum l^2 of their lengths l. Kish 1965, Survey Sampling (from memory)."""


@dataclass(frozen=True)
class DescentSlice:
    """Roots between two depths, or two places along the wall."""

    from_in: float
    to_in: float
    root_length_in: float
    """Of the root that counts: thick enough and seen."""
    descent: Interval


def descent_slices(readings: Readings, along: Along) -> tuple[DescentSlice, ...]:
    """Mean descent on the way down, slice by slice; slices with hardly a root are left out.

    The interval holds what roots were missed, doubtful traces, and the wall's
    level, which turns roots leading left and right opposite ways.
    """
    roots = readings.roots
    if not roots:
        return ()
    axis, step_in = (1, DEPTH_STEP_IN) if along == "depth" else (0, X_STEP_IN)
    place = [root.trace.points[:, axis] for root in roots]
    counts = [counted_points(root, readings.counted_width_in) for root in roots]
    first = np.floor(min(float(p.min()) for p in place) / step_in) * step_in
    last = max(float(p.max()) for p in place)
    edges = np.arange(first, last + step_in, step_in)
    confidence = np.array([root.trace.confidence for root in roots])
    weight = np.array([weight_in_descent(root) for root in roots])
    point_in = np.array([root.length_in / len(root.trace.points) for root in roots])
    found = []
    for low, high in pairwise(edges.tolist()):
        here = [c & (p >= low) & (p < high) for c, p in zip(counts, place, strict=True)]
        number = _sums(here, [np.ones(len(p)) for p in place])
        length_in = float(number @ point_in)
        if length_in < LEAST_LENGTH_IN or _alike(number * point_in) < FEWEST_ROOTS:
            continue
        led = _sums(here, [root.rightward for root in roots])
        level_se = readings.errors.level_se_deg * ratio_interval(led, number, confidence, weight=weight).value
        descent = ratio_interval(
            _sums(here, [root.descent_down_deg for root in roots]),
            number,
            confidence,
            abs(level_se),
            weight=weight,
        )
        found.append(DescentSlice(low, high, length_in, descent))
    return tuple(found)


def _alike(length_in: NDArray[np.float64]) -> float:
    """Of how many roots of like length there would be as much to learn."""
    return float(length_in.sum() ** 2 / (length_in**2).sum())


def _sums(here: list[NDArray[np.bool_]], values: list[NDArray[np.float64]]) -> NDArray[np.float64]:
    return np.array([float(value[at].sum()) for at, value in zip(here, values, strict=True)])

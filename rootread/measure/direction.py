"""Which way a root goes: descent, turning, length and tortuosity of a centreline.

Descent is degrees below horizontal along the way from base to tip: 0 level,
90 straight down, negative rising.
"""

import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points, arc_length

Angles = NDArray[np.float64]


def tangents(points: Points, step_in: float, tangent_in: float) -> Points:
    """``(N, 2)`` chords over ``tangent_in`` centred on each point, shorter at the ends."""
    half = max(round(tangent_in / step_in / 2), 1)
    at = np.arange(len(points))
    return points[np.minimum(at + half, len(points) - 1)] - points[np.maximum(at - half, 0)]


def descent_of(vectors: Points) -> Angles:
    """Degrees below horizontal of ``(N, 2)`` vectors (x, z): ``atan2(dz, |dx|)``."""
    return np.degrees(np.arctan2(vectors[:, 1], np.abs(vectors[:, 0])))


def descent_along(points: Points, step_in: float, tangent_in: float) -> Angles:
    """``(N,)`` descent at each point of a centreline."""
    return descent_of(tangents(points, step_in, tangent_in))


def chord_descent(points: Points) -> float:
    """Descent of the straight line from base to tip."""
    return float(descent_of(points[-1:] - points[:1])[0])


def goes_down(points: Points) -> bool:
    """Whether the tip is no higher than the base."""
    return bool(points[-1, 1] >= points[0, 1])


def turning(points: Points, step_in: float, tangent_in: float) -> float:
    """Sum of absolute changes of direction along the centreline, degrees.

    Directions are full angles, so that a root which swings past the plumb
    line turns through it. The first and last tangents reach half the span, so
    half of it goes uncounted in all.
    """
    vectors = tangents(points, step_in, tangent_in)
    direction = np.unwrap(np.arctan2(vectors[:, 1], vectors[:, 0]))
    return float(np.degrees(np.abs(np.diff(direction)).sum()))


def length_and_chord(points: Points) -> tuple[float, float]:
    """Length along a centreline and straight distance between its ends, inches."""
    return float(arc_length(points)[-1]), float(np.hypot(*(points[-1] - points[0])))

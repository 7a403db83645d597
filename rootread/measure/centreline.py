"""A root's centreline: evenly spaced points, freed of pixel noise but not of wiggles.

The smoother is the local parabola of Savitzky and Golay (Analytical Chemistry
36:1627-1639, 1964; from memory): each point moves to the value of the least-squares parabola
through the points within half a span on either side. Straight lines, circles
of constant curvature to second order, and the ends of a root come out where
they were, so lengths do not shrink as they do under a running mean.
"""

from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from rootread.follow.types import Trace
from rootread.geometry import Points, arc_length, resample_polyline
from rootread.settings import MeasureSettings

PARABOLA = 2
"""Degree of the fitted curve: the least that keeps the height of a bend."""


def window_points(span_in: float, step_in: float) -> int:
    """Number of points, odd, that a smoothing span covers."""
    return 2 * max(round(span_in / step_in / 2), 0) + 1


@lru_cache
def _parabola_values(window: int) -> NDArray[np.float64]:
    """``(window, window)`` matrix from points to the values of their least-squares parabola."""
    k = np.arange(window) - window // 2
    powers = np.stack([k**p for p in range(PARABOLA + 1)], axis=1).astype(float)
    return powers @ np.linalg.pinv(powers)


def smooth(points: Points, window: int) -> Points:
    """``(N, 2)`` evenly spaced points after the local parabola over ``window`` of them.

    Within half a window of an end, the parabola of the outermost window serves.
    """
    window = min(window, len(points) - 1 + len(points) % 2)
    if window <= PARABOLA + 1:
        return points
    values, half = _parabola_values(window), window // 2
    middle = [np.convolve(points[:, column], values[half], mode="valid") for column in (0, 1)]
    return np.concatenate(
        [values[:half] @ points[:window], np.stack(middle, 1), values[-half:] @ points[-window:]]
    )


def centreline(trace: Trace, settings: MeasureSettings) -> Trace:
    """The trace at even steps along its smoothed centreline.

    Widths are interpolated; a point counts as inferred, or as marked flattened,
    when it is nearer to such a point of the trace than to another.
    """
    points, at = resample_polyline(trace.points, settings.step_in)
    along = arc_length(trace.points)

    def spread(flags: NDArray[np.bool_]) -> NDArray[np.bool_]:
        return np.interp(at, along, flags.astype(float)) > 0.5

    return replace(
        trace,
        points=smooth(points, window_points(settings.smoothing_in, settings.step_in)),
        width_in=np.interp(at, along, trace.width_in),
        inferred=spread(trace.inferred),
        squeezed=None if trace.squeezed is None else spread(trace.squeezed),
    )

"""Waviness: how long and how high the waves of a root are."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points
from rootread.measure.centreline import smooth, window_points
from rootread.measure.direction import tangents
from rootread.measure.types import RootReading

COURSE_SPAN_IN = 4.0
"""A wave is a swing about the course that a parabola over this much of the root takes."""


@dataclass(frozen=True)
class Waviness:
    """The waves of a root."""

    wavelength_in: float
    """NaN where the root swings less than twice."""
    amplitude_in: float


def swing(points: Points, step_in: float) -> NDArray[np.float64]:
    """``(N,)`` inches by which an evenly spaced centreline lies off its course, square to it.

    NaN near the ends, where the course is not known, and all along a root
    shorter than the course's span.
    """
    off = np.full(len(points), np.nan)
    window = window_points(COURSE_SPAN_IN, step_in)
    if len(points) <= window:
        return off
    # two passes: a single parabola still follows waves half its span long
    course = smooth(smooth(points, window), window)
    along = tangents(course, step_in, 1.0)
    # A course that turns back on itself has places without a way.
    across = np.column_stack([-along[:, 1], along[:, 0]]) / np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    inner = slice(window // 4, -(window // 4))
    off[inner] = ((points - course) * across).sum(axis=1)[inner]
    return off


def waviness(points: Points, step_in: float) -> Waviness:
    """Wavelength and amplitude of an evenly spaced centreline.

    For a sine wave the amplitude is sqrt(2) times its root mean square and the
    wavelength twice the way between zero crossings; for other waves these are
    those of a sine wave that swings as far and as often.
    """
    off = swing(points, step_in)
    off = off[np.isfinite(off)]
    if not len(off):
        return Waviness(float("nan"), 0.0)
    crossings = np.flatnonzero(np.diff(np.sign(off)) != 0)
    amplitude_in = float(np.sqrt(2.0 * np.mean(off**2)))
    if len(crossings) < 3:
        return Waviness(float("nan"), amplitude_in)
    return Waviness(2.0 * step_in * float(np.diff(crossings).mean()), amplitude_in)


def wall_waviness(roots: Sequence[RootReading]) -> Waviness:
    """Median wavelength and amplitude of the wall's roots; NaN where none is long enough."""
    waves = [waviness(root.trace.points, root.length_in / (len(root.trace.points) - 1)) for root in roots]
    swinging = [wave for wave in waves if np.isfinite(wave.wavelength_in)]
    if not swinging:
        return Waviness(float("nan"), float("nan"))
    return Waviness(
        float(np.median([wave.wavelength_in for wave in swinging])),
        float(np.median([wave.amplitude_in for wave in swinging])),
    )

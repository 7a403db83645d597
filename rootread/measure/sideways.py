"""Sideways runs, and the turns that lead into them.

Both are read on the way down: a trace whose tip lies above its base is read
from its tip, because a photo of a fragment does not tell which end grew first.
"""

import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points
from rootread.measure.direction import descent_of, goes_down
from rootread.measure.types import SidewaysRun, Turn
from rootread.settings import MeasureSettings


def stretches(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Start and end (one past) of each unbroken stretch of True."""
    edges = np.diff(np.concatenate([[0], flags.astype(np.int8), [0]]))
    return list(zip(np.flatnonzero(edges == 1).tolist(), np.flatnonzero(edges == -1).tolist(), strict=True))


def sideways_runs(
    root: str,
    points: Points,
    descent_at_deg: NDArray[np.float64],
    below_surface_in: NDArray[np.float64],
    settings: MeasureSettings,
) -> tuple[SidewaysRun, ...]:
    """Stretches near level, long enough and deep enough.

    Parameters
    ----------
    points : ``(N, 2)`` centreline at even steps, x and z inches.
    descent_at_deg : ``(N,)`` descent at each point.
    below_surface_in : ``(N,)`` depth of each point under the soil surface above it.
    """
    level = np.abs(descent_at_deg) <= settings.run_max_descent_deg
    runs = []
    for start, end in stretches(level & (below_surface_in > settings.run_min_depth_in)):
        length_in = (end - 1 - start) * settings.step_in
        if length_in < settings.run_min_length_in:
            continue
        x, z = points[start:end].T
        runs.append(SidewaysRun(root, float(z.mean()), float(x.min()), float(x.max()), length_in))
    return tuple(runs)


def turns(
    root: str, points: Points, below_surface_in: NDArray[np.float64], settings: MeasureSettings
) -> tuple[Turn, ...]:
    """Places where a descending root goes near level.

    At a turn the descent over the next inch is near level and much less than
    over the last inch. The condition holds along a short stretch around the
    bend; the turn is where the change of descent is largest.
    """
    inch = round(settings.tangent_in / settings.step_in)
    if len(points) <= 2 * inch:
        return ()
    if not goes_down(points):
        points, below_surface_in = points[::-1], below_surface_in[::-1]
    over_inch = descent_of(points[inch:] - points[:-inch])
    last, following = over_inch[:-inch], over_inch[inch:]
    change = last - following
    turning = (
        (following <= settings.turn_max_descent_deg)
        & (change >= settings.turn_min_change_deg)
        & (below_surface_in[inch:-inch] > settings.run_min_depth_in)
    )
    found = []
    for start, end in stretches(turning):
        at = inch + start + int(np.argmax(change[start:end]))
        x, z = points[at]
        found.append(Turn(root, float(x), float(z), float(points[at : at + inch + 1, 1].mean())))
    return tuple(found)

"""From a path over edges to one smooth centreline."""

import numpy as np
from numpy.typing import NDArray
from scipy.signal import savgol_filter

from rootread.follow.ends import Ends
from rootread.follow.types import RootGraph, Step
from rootread.geometry import Points, arc_length

STEP_PX = 2.0
"""Spacing of the points of a centreline."""
HEADING_POINTS = 12
"""So many points say where a line is heading at its end."""
SMOOTHING_IN = 0.30
"""Window of the local quadratic that smooths the centreline; keeps a 0.5 in wiggle."""


def path_centreline(
    graph: RootGraph, ends: Ends, path: list[Step]
) -> tuple[Points, NDArray[np.float64], NDArray[np.bool_]]:
    """Points (grid px, every 2 px or so), widths (px) and which points were bridged over a gap."""
    points: list[Points] = []
    widths: list[NDArray[np.float64]] = []
    inferred: list[NDArray[np.bool_]] = []
    for position, step in enumerate(path):
        edge = graph.edges[step.edge]
        along = arc_length(edge.points_px)
        cut = [0.0, along[-1]]
        if position > 0:
            cut[0 if step.forward else 1] += ends.skip_px[step.enters] * (1 if step.forward else -1)
        if position < len(path) - 1:
            cut[1 if step.forward else 0] += ends.skip_px[step.leaves] * (-1 if step.forward else 1)
        keep = (along >= cut[0]) & (along <= cut[1])
        piece = edge.points_px[keep][:: 1 if step.forward else -1]
        width = edge.width_px[keep][:: 1 if step.forward else -1]
        if len(piece) == 0:
            continue
        if step.gap_before and points:
            bridge = least_energy_curve(points[-1], piece, STEP_PX)
            points.append(bridge)
            widths.append(np.linspace(widths[-1][-1], width[0], len(bridge)))
            inferred.append(np.ones(len(bridge), dtype=bool))
        points.append(piece)
        widths.append(width)
        inferred.append(np.zeros(len(piece), dtype=bool))
    return _resample_smooth(
        np.concatenate(points), np.concatenate(widths), np.concatenate(inferred), graph.grid.px_per_in
    )


def least_energy_curve(before: Points, after: Points, step: float) -> Points:
    """Cubic between two ends that keeps their headings: least bending for small angles."""
    start, stop = before[-1], after[0]
    length = float(np.hypot(*(stop - start)))
    out = start - before[max(len(before) - HEADING_POINTS, 0)]
    into = after[min(HEADING_POINTS, len(after) - 1)] - stop
    out, into = (v / max(float(np.hypot(*v)), 1e-9) * length for v in (out, into))
    t = np.linspace(0, 1, max(int(length / step), 1) + 2)[1:-1, None]
    return cubic(start, out, stop, into, t)


def cubic(start: Points, out: Points, stop: Points, into: Points, t: NDArray[np.float64]) -> Points:
    """Places at ``t``, 0 to 1, of the cubic with the given ends and derivatives there (Hermite's form)."""
    places: Points = (
        (2 * t**3 - 3 * t**2 + 1) * start
        + (t**3 - 2 * t**2 + t) * out
        + (3 * t**2 - 2 * t**3) * stop
        + (t**3 - t**2) * into
    )
    return places


def _resample_smooth(
    points: Points, widths: NDArray[np.float64], inferred: NDArray[np.bool_], px_per_in: float
) -> tuple[Points, NDArray[np.float64], NDArray[np.bool_]]:
    moved = np.concatenate([[True], np.hypot(*np.diff(points, axis=0).T) > 1e-9])
    points, widths, inferred = points[moved], widths[moved], inferred[moved]
    along = arc_length(points)
    count = max(round(along[-1] / STEP_PX), 1) + 1
    at = np.linspace(0, along[-1], count)
    even = np.column_stack([np.interp(at, along, points[:, k]) for k in (0, 1)])
    window = int(SMOOTHING_IN * px_per_in / STEP_PX) // 2 * 2 + 1
    if count > window:
        even = savgol_filter(even, window, 2, axis=0)
    nearest = np.searchsorted(along, at).clip(0, len(along) - 1)
    return even, np.interp(at, along, widths), inferred[nearest]

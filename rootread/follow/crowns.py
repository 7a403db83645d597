"""Crowns: where the bases of main roots gather near the soil surface."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.follow.lineage import CROWN_REACH_IN
from rootread.follow.types import Trace
from rootread.geometry import Points, arc_length
from rootread.plane.types import Surface

LEG_IN = 1.5
"""The first stretch of a root says where it comes from."""
CROWN_DEPTH_IN = 0.5
"""Roots of a crown come together about this far below the surface."""
SPREAD_IN = 1.0
"""Spread of where the roots of one crown seem to come from."""
FARTHEST_IN = 3.0
"""A base farther than this along the wall from every crown is of none of them."""
LEAST_ROOTS = 3
"""Fewer bases together are stray roots."""


@dataclass(frozen=True, eq=False)
class Crowns:
    """Crowns of a wall, from left to right, and the roots of each."""

    places_in: Points
    """``(C, 2)`` x and z."""
    of_root: NDArray[np.int64]
    """``(R,)`` crown of each trace; -1 for laterals and for roots of no crown."""


def find_crowns(traces: Sequence[Trace], surface: Surface) -> Crowns:
    """Crowns from the bases of main roots near the surface.

    Each root is followed back from its base along its own direction to crown
    depth, no farther than its base lies from there. Where these places are
    densest along the wall (a Gaussian of SPREAD_IN around each, weighed by its
    root's width) is a crown.
    """
    of_root = np.full(len(traces), -1)
    line = surface.line_in
    main = [k for k, trace in enumerate(traces) if trace.order == 0]
    base = np.array([traces[k].points[0] for k in main]).reshape(-1, 2)
    depth = base[:, 1] - np.interp(base[:, 0], line[:, 0], line[:, 1])
    near = depth <= CROWN_REACH_IN
    main, base, depth = [k for k, is_near in zip(main, near, strict=True) if is_near], base[near], depth[near]
    if len(main) < LEAST_ROOTS:
        return Crowns(np.empty((0, 2)), of_root)
    origin_x = np.array([_origin_x(traces[k], float(d)) for k, d in zip(main, depth, strict=True)])
    weight = np.array([float(np.median(traces[k].width_in)) for k in main])
    x = np.arange(origin_x.min() - SPREAD_IN, origin_x.max() + SPREAD_IN + 0.05, 0.05)
    density = np.exp(-0.5 * ((x[:, None] - origin_x) / SPREAD_IN) ** 2) @ weight
    peak = np.flatnonzero((density[1:-1] >= density[:-2]) & (density[1:-1] > density[2:])) + 1
    nearest = np.abs(origin_x[:, None] - x[peak]).argmin(axis=1)
    close = np.abs(origin_x - x[peak][nearest]) <= FARTHEST_IN
    kept = [k for k in range(len(peak)) if (close & (nearest == k)).sum() >= LEAST_ROOTS]
    for number, crown in enumerate(kept):
        of_root[np.array(main)[close & (nearest == crown)]] = number
    crown_x = x[peak][kept]
    crown_z = np.interp(crown_x, line[:, 0], line[:, 1]) + CROWN_DEPTH_IN
    return Crowns(np.column_stack([crown_x, crown_z]), of_root)


def _origin_x(trace: Trace, depth_in: float) -> float:
    """Where a root's first stretch, drawn back, comes to crown depth."""
    points = trace.points
    leg = points[int(np.searchsorted(arc_length(points), LEG_IN).clip(1, len(points) - 1))] - points[0]
    climb_in = max(depth_in - CROWN_DEPTH_IN, 0.0)
    slope = leg[0] / max(float(leg[1]), 1e-3)
    return float(points[0, 0] - np.clip(slope * climb_in, -1.5 * climb_in, 1.5 * climb_in))

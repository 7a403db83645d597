"""Crowns: where the bases of main roots gather near the soil surface."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.follow.types import Trace
from rootread.geometry import Points, arc_length
from rootread.plane.types import Surface

CROWN_REACH_IN = 2.5
"""Bases of main roots lie no deeper than this below the surface."""
LEG_IN = 1.5
"""The first stretch of a root says where it comes from."""
CROWN_DEPTH_IN = 0.9
"""Roots of a crown come together about this far below the surface (median of made walls)."""
STEEP = 0.2
"""A root whose direction has less of the level in it than this comes from straight above its base."""
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
    """Crowns from the bases of main roots near the surface."""
    main = [k for k, trace in enumerate(traces) if trace.order == 0]
    of_root = np.full(len(traces), -1)
    if not main:
        return Crowns(np.empty((0, 2)), of_root)
    base = np.array([traces[k].points[0] for k in main])
    leaves = np.array([_leaves(traces[k].points) for k in main])
    weight = np.array([float(np.median(traces[k].width_in)) for k in main])
    places_in, of_root[main] = gathered_places(base, leaves, weight, surface)
    return Crowns(places_in, of_root)


def gathered_places(
    base_in: Points, leaves: Points, weight: NDArray[np.float64], surface: Surface
) -> tuple[Points, NDArray[np.int64]]:
    """Where roots seem to come from: ``(C, 2)`` places from left to right, and the place of each root or -1.

    Each root is followed back from its base along the way it leaves to crown
    depth, no farther than its base lies from there. Where these places are
    densest along the wall (a Gaussian of SPREAD_IN around each, weighed by its
    root) is a crown. It is as deep as its roots, drawn back, lie there in the
    median.
    """
    of_root = np.full(len(base_in), -1)
    depth = base_in[:, 1] - np.interp(base_in[:, 0], *surface.line_in.T)
    near = np.flatnonzero(depth <= CROWN_REACH_IN)
    if len(near) < LEAST_ROOTS:
        return np.empty((0, 2)), of_root
    climb = np.maximum(depth[near] - CROWN_DEPTH_IN, 0.0)
    slope = leaves[near, 0] / np.maximum(leaves[near, 1], 1e-3)
    origin_x = base_in[near, 0] - np.clip(slope, -1.5, 1.5) * climb
    x = np.arange(origin_x.min() - SPREAD_IN, origin_x.max() + SPREAD_IN + 0.05, 0.05)
    density = np.exp(-0.5 * ((x[:, None] - origin_x) / SPREAD_IN) ** 2) @ weight[near]
    peak = np.flatnonzero((density[1:-1] >= density[:-2]) & (density[1:-1] > density[2:])) + 1
    nearest = np.abs(origin_x[:, None] - x[peak]).argmin(axis=1)
    close = np.abs(origin_x - x[peak][nearest]) <= FARTHEST_IN
    kept = [k for k in range(len(peak)) if (close & (nearest == k)).sum() >= LEAST_ROOTS]
    for number, crown in enumerate(kept):
        of_root[near[close & (nearest == crown)]] = number
    places = [
        (crown_x, _depth_at(crown_x, base_in[of_root == number], leaves[of_root == number], surface))
        for number, crown_x in enumerate(x[peak][kept].tolist())
    ]
    return np.array(places).reshape(-1, 2), of_root


def _depth_at(crown_x_in: float, base_in: Points, leaves: Points, surface: Surface) -> float:
    """z at which roots, drawn back straight, come to a place along the wall; never above the surface."""
    level = leaves[:, 0] / np.maximum(np.hypot(*leaves.T), 1e-9)
    slope = np.where(np.abs(level) > STEEP, leaves[:, 1] / np.where(level == 0, 1.0, leaves[:, 0]), 0.0)
    z = np.median(base_in[:, 1] - slope * (base_in[:, 0] - crown_x_in))
    return float(max(z, np.interp(crown_x_in, *surface.line_in.T)))


def _leaves(points: Points) -> Points:
    """``(2,)`` from a root's base to the end of its first stretch."""
    end = int(np.searchsorted(arc_length(points), LEG_IN).clip(1, len(points) - 1))
    leg: Points = points[end] - points[0]
    return leg

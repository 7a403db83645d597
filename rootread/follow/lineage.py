"""Base and tip, main root and lateral: who grows from whom."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from rootread.geometry import Points
from rootread.plane.types import Surface

CROWN_REACH_IN = 2.5
"""Bases of main roots lie no deeper than this below the surface."""
CROWN_LENGTH_IN = 2.0
"""Shorter roots near the surface may as well be laterals."""
TOUCH_IN = 0.12
"""A lateral's base lies no farther than this from its parent's edge."""
LATERAL_WIDEST = 0.85
"""A lateral is thinner than its parent: no wider than this share of it."""
LATERAL_SLANT_COSINE = 0.64
"""Only one that leaves its parent at more than 50 degrees may be as wide: others pass beneath it."""
LEG_POINTS = 15
"""The first points of a root say which way it leaves."""


@dataclass(frozen=True, eq=False)
class Lineage:
    """For each root: whether its points run tip first, its order and its parent's index."""

    reverse: NDArray[np.bool_]
    order: NDArray[np.int64]
    parent: NDArray[np.int64]
    """-1 for roots from the crown or of unknown parent."""


@dataclass(frozen=True, eq=False)
class _Roots:
    """All roots' points one after the other, and each root's length and width."""

    points: Points
    heading: Points
    half_width: NDArray[np.float64]
    owner: NDArray[np.int64]
    length: NDArray[np.float64]
    width: NDArray[np.float64]
    tree: cKDTree


def find_lineage(lines_in: list[Points], widths_in: list[NDArray[np.float64]], surface: Surface) -> Lineage:
    """Decide base, parent and order of every root from where its ends are.

    A root with an end near the surface grows from there. Of the others, an end
    on the side of a longer and wider root is the base; with none, the shallower
    end is.
    """
    count = len(lines_in)
    reverse = np.zeros(count, dtype=bool)
    parent = np.full(count, -1)
    if count == 0:
        return Lineage(reverse, parent + 1, parent)
    roots = _gathered(lines_in, widths_in)
    for root, line in enumerate(lines_in):
        depth = line[[0, -1], 1] - np.interp(line[[0, -1], 0], surface.line_in[:, 0], surface.line_in[:, 1])
        hosts = [_host(root, way, roots) for way in (line, line[::-1])]
        if depth.min() <= CROWN_REACH_IN and roots.length[root] > CROWN_LENGTH_IN:
            reverse[root] = depth[1] < depth[0]
        elif (hosts[0] >= 0) != (hosts[1] >= 0):
            reverse[root] = hosts[1] >= 0
            parent[root] = max(hosts)
        else:
            reverse[root] = depth[1] < depth[0]
            parent[root] = hosts[int(reverse[root])]
    return Lineage(reverse, _orders(parent), parent)


def _gathered(lines_in: list[Points], widths_in: list[NDArray[np.float64]]) -> _Roots:
    points = np.concatenate(lines_in)
    tangents = np.concatenate([np.gradient(line, axis=0) for line in lines_in])
    return _Roots(
        points=points,
        heading=tangents / np.maximum(np.hypot(*tangents.T), 1e-9)[:, None],
        half_width=np.concatenate(widths_in) / 2,
        owner=np.repeat(np.arange(len(lines_in)), [len(line) for line in lines_in]),
        length=np.array([float(np.hypot(*np.diff(line, axis=0).T).sum()) for line in lines_in]),
        width=np.array([float(np.median(width)) for width in widths_in]),
        tree=cKDTree(points),
    )


def _host(root: int, way: Points, roots: _Roots) -> int:
    """The longer root on whose side the first point of ``way`` lies as a lateral's base would, or -1."""
    reach_in = TOUCH_IN + float(roots.half_width.max())
    near = np.array(roots.tree.query_ball_point(way[0], reach_in), dtype=int)
    near = near[roots.length[roots.owner[near]] > roots.length[root]]
    leg = way[min(LEG_POINTS, len(way) - 1)] - way[0]
    slant = np.abs(roots.heading[near] @ leg) / max(float(np.hypot(*leg)), 1e-9)
    thinner = roots.width[root] <= LATERAL_WIDEST * roots.width[roots.owner[near]]
    away = np.hypot(*(roots.points[near] - way[0]).T) - roots.half_width[near]
    fits = (away <= TOUCH_IN) & (thinner | (slant < LATERAL_SLANT_COSINE))
    return int(roots.owner[near[fits][np.argmin(away[fits])]]) if fits.any() else -1


def _orders(parent: NDArray[np.int64]) -> NDArray[np.int64]:
    """Steps up to a root without parent. Parents are always longer, so there are no rings."""
    order = np.zeros(len(parent), dtype=np.int64)
    for root in range(len(parent)):
        above = parent[root]
        while above >= 0:
            order[root] += 1
            above = parent[above]
    return order

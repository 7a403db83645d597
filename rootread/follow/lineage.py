"""Base and tip, main root and lateral: who grows from whom."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from rootread.geometry import Points
from rootread.plane.types import Surface

CROWN_REACH_IN = 2.5
"""Bases of main roots lie no deeper than this below the surface."""
TOUCH_IN = 0.12
"""A lateral's base lies no farther than this from its parent's edge."""


@dataclass(frozen=True, eq=False)
class Lineage:
    """For each root: whether its points run tip first, its order and its parent's index."""

    reverse: NDArray[np.bool_]
    order: NDArray[np.int64]
    parent: NDArray[np.int64]
    """-1 for roots from the crown or of unknown parent."""


def find_lineage(lines_in: list[Points], widths_in: list[NDArray[np.float64]], surface: Surface) -> Lineage:
    """Decide base, parent and order of every root from where its ends are.

    A root with an end near the surface grows from there. Of the others, an end
    on the side of a longer root is the base; with none, the shallower end is.
    """
    count = len(lines_in)
    reverse = np.zeros(count, dtype=bool)
    parent = np.full(count, -1)
    if count == 0:
        return Lineage(reverse, parent + 1, parent)
    length = np.array([float(np.hypot(*np.diff(p, axis=0).T).sum()) for p in lines_in])
    owner = np.repeat(np.arange(count), [len(p) for p in lines_in])
    points = np.concatenate(lines_in)
    half_width = np.concatenate(widths_in) / 2
    tree = cKDTree(points)
    for root, line in enumerate(lines_in):
        depth = line[[0, -1], 1] - np.interp(line[[0, -1], 0], surface.line_in[:, 0], surface.line_in[:, 1])
        hosts = [_host(root, end, tree, owner, half_width, length) for end in line[[0, -1]]]
        if depth.min() <= CROWN_REACH_IN and length[root] > 2.0:
            reverse[root] = depth[1] < depth[0]
        elif (hosts[0] >= 0) != (hosts[1] >= 0):
            reverse[root] = hosts[1] >= 0
            parent[root] = max(hosts)
        else:
            reverse[root] = depth[1] < depth[0]
            parent[root] = hosts[int(reverse[root])]
    return Lineage(reverse, _orders(parent), parent)


def _host(
    root: int,
    end: Points,
    tree: cKDTree,
    owner: NDArray[np.int64],
    half_width: NDArray[np.float64],
    length: NDArray[np.float64],
) -> int:
    """The longer root on whose side an end lies, or -1."""
    near = np.array(tree.query_ball_point(end, TOUCH_IN + float(half_width.max())), dtype=int)
    near = near[(owner[near] != root) & (length[owner[near]] > length[root])]
    away = np.hypot(*(tree.data[near] - end).T) - half_width[near]
    near, away = near[away <= TOUCH_IN], away[away <= TOUCH_IN]
    return int(owner[near[np.argmin(away)]]) if len(near) else -1


def _orders(parent: NDArray[np.int64]) -> NDArray[np.int64]:
    """Steps up to a root without parent. Parents are always longer, so there are no rings."""
    order = np.zeros(len(parent), dtype=np.int64)
    for root in range(len(parent)):
        above = parent[root]
        while above >= 0:
            order[root] += 1
            above = parent[above]
    return order

"""Where roots run beside each other."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from rootread.follow.types import Trace

TOUCH_IN = 0.04
"""Roots whose flanks are this near touch."""


def beside_another(
    traces: Sequence[Trace], reach_in: float | None = None, touch_in: float = TOUCH_IN
) -> list[NDArray[np.bool_]]:
    """For each trace, at which of its points another trace is near.

    Near is nearer than ``reach_in`` from centreline to centreline; without it,
    so near that the flanks of the two roots touch, which ``touch_in`` between them still is.
    """
    if not traces:
        return []
    points = np.concatenate([trace.points for trace in traces])
    width = np.concatenate([trace.width_in for trace in traces])
    count = [len(trace.points) for trace in traces]
    owner = np.repeat(np.arange(len(traces)), count)
    farthest = touch_in + float(width.max()) if reach_in is None else reach_in
    a, b = cKDTree(points).query_pairs(farthest, output_type="ndarray").T
    a, b = a[owner[a] != owner[b]], b[owner[a] != owner[b]]
    if reach_in is None:
        near = np.hypot(*(points[a] - points[b]).T) <= touch_in + 0.5 * (width[a] + width[b])
        a, b = a[near], b[near]
    beside = np.zeros(len(points), dtype=bool)
    beside[a] = beside[b] = True
    return np.split(beside, np.cumsum(count)[:-1])

"""Where roots touch: there a photo shows no root's own width."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from rootread.follow.types import Trace

Flags = NDArray[np.bool_]

WIDEST = 0.99
"""Roots wider than this share of all points are looked beside no farther."""


def touching(lines: Sequence[Trace]) -> list[Flags]:
    """For each trace ``(N,)`` True where another one lies flank to flank with it, or over it."""
    if not lines:
        return []
    points = np.concatenate([line.points for line in lines])
    width_in = np.concatenate([line.width_in for line in lines])
    owner = np.repeat(np.arange(len(lines)), [len(line.points) for line in lines])
    near = cKDTree(points).query_pairs(float(np.quantile(width_in, WIDEST)), output_type="ndarray")
    near = near[owner[near[:, 0]] != owner[near[:, 1]]]
    one, other = near.T
    apart_in = np.hypot(*(points[one] - points[other]).T)
    meet = apart_in <= (width_in[one] + width_in[other]) / 2
    flags = np.zeros(len(points), dtype=bool)
    flags[near[meet].ravel()] = True
    return np.split(flags, np.flatnonzero(np.diff(owner)) + 1)

"""Roots drawn by hand for the tests of measuring and judging: plain lines, corners and arcs in inches."""

from itertools import pairwise

import numpy as np

from rootread.follow.types import Trace
from rootread.plane.types import Level, ScaleFinding, Surface, WallPlane

STEP_IN = 0.05


def trace(points, width_in=0.10, name="r", order=0, cut=False, confidence=1.0, inferred=None):
    points = np.asarray(points, dtype=float)
    width = np.full(len(points), width_in) if np.isscalar(width_in) else np.asarray(width_in, dtype=float)
    unseen = np.zeros(len(points), dtype=bool) if inferred is None else np.asarray(inferred)
    return Trace(name, order, None, points, width, unseen, confidence, cut)


def along(*corners):
    """Points every 0.05 in along straight stretches between corners, corners kept."""
    corners = np.asarray(corners, dtype=float)
    pieces = [corners[:1]]
    for start, end in pairwise(corners):
        count = max(round(float(np.hypot(*(end - start))) / STEP_IN), 1)
        pieces.append(start + (end - start) * (np.arange(1, count + 1) / count)[:, None])
    return np.concatenate(pieces)


def plane(level_se_deg=0.0, surface=((-100.0, 0.0), (100.0, 0.0))):
    scale = ScaleFinding("card", 75.0, 0.1, (), np.zeros((0, 2)), np.zeros((0, 2)), 0.1)
    level = Level("card", level_se_deg)
    return WallPlane(np.eye(3), None, scale, level, Surface(np.array(surface), 0.1, "photo"), 0.0)

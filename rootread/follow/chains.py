"""A chain: the pixels of one stretch of root, while the graph is being made."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, map_coordinates

from rootread.geometry import Points

POINT_SMOOTHING_PX = 2.0
"""Pixel steps are off the true centreline by up to half a pixel; this takes them out."""


@dataclass
class Chain:
    """An edge while the graph is being cleaned; ``nodes`` are -1 where free."""

    points: Points
    nodes: list[int]

    @property
    def length_px(self) -> float:
        """Length along the chain."""
        steps = np.diff(self.points, axis=0)
        return float(np.hypot(steps[:, 0], steps[:, 1]).sum())


def with_ends(chain: NDArray[np.int64], ends: tuple[int, int], centres: Points) -> Points:
    """The chain drawn on to the meetings at its ends."""
    parts = [chain.astype(float)]
    if ends[0] >= 0:
        parts.insert(0, centres[ends[0]][None])
    if ends[1] >= 0:
        parts.append(centres[ends[1]][None])
    return np.concatenate(parts)


def smooth(points: Points) -> Points:
    """Take the pixel steps out of a chain, its end points kept."""
    if len(points) < 4:
        return points
    # Odd reflection at the ends keeps them in place and does not shorten the chain.
    pad = min(len(points) - 1, 8)
    head = 2 * points[0] - points[pad:0:-1]
    tail = 2 * points[-1] - points[-2 : -pad - 2 : -1]
    padded = np.concatenate([head, points, tail])
    return gaussian_filter1d(padded, POINT_SMOOTHING_PX, axis=0, mode="nearest")[pad : pad + len(points)]


def sample(image: NDArray[np.float32], points: Points) -> NDArray[np.float64]:
    """Bilinear values of an image at ``(N, 2)`` column-row places."""
    if len(points) == 0:
        return np.zeros(0)
    return map_coordinates(image, points[:, ::-1].T, order=1, mode="nearest").astype(float)


def sample_each(image: NDArray[np.float32], lines: Sequence[Points]) -> list[NDArray[np.float64]]:
    """The same along each of several lines, of which many have few points."""
    if not lines:
        return []
    return np.split(sample(image, np.concatenate(lines)), np.cumsum([len(line) for line in lines])[:-1])

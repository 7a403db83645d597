"""Roots drawn exactly: every pixel holds the share of it that the root covers, wherever the root lies."""

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from rootread.find import RootMap
from rootread.follow import Trace, follow_roots
from rootread.geometry import Points, resample_polyline
from rootread.plane import Grid, Surface, WallImage
from rootread.settings import FollowSettings

PX_PER_IN = 60.0
SIDE_IN = 9.0
SURFACE = Surface(np.array([[-1.0, -1.0], [13.0, -1.0]]), 0.1, "photo")
SOIL_GREY, ROOT_GREY = 60.0, 190.0


def covered(lines_in: list[Points], width_in: float | list[float], px_per_in: float = PX_PER_IN) -> NDArray:
    """``(M, N)`` share of each pixel that roots cover."""
    size = round(SIDE_IN * px_per_in)
    picture = np.zeros((size, size))
    widths = width_in if isinstance(width_in, list) else [width_in] * len(lines_in)
    for line, wide in zip(lines_in, widths, strict=True):
        dense, _ = resample_polyline(np.asarray(line) * px_per_in, 0.1)
        near = np.zeros(picture.shape, np.uint8)
        cv2.polylines(near, [np.round(dense).astype(np.int32)], False, 1, int(wide * px_per_in) + 5)
        row, column = np.nonzero(near)
        away = cKDTree(dense).query(np.column_stack([column, row]))[0]
        share = np.clip(wide * px_per_in / 2 - away + 0.5, 0, 1)
        picture[row, column] = np.maximum(picture[row, column], share)
    return picture


def wall_of(picture: NDArray, px_per_in: float = PX_PER_IN) -> tuple[RootMap, WallImage]:
    """Root map and flat wall of a drawn picture."""
    grid = Grid(px_per_in, 0.0, 0.0, picture.shape)
    grey = (SOIL_GREY + (ROOT_GREY - SOIL_GREY) * picture).astype(np.uint8)
    image = WallImage(np.dstack([grey] * 3), np.ones(picture.shape, dtype=bool), grid)
    probability = picture.astype(np.float32)
    return RootMap(probability, probability > 0.5, grid), image


def followed(
    lines_in: list[Points], width_in: float | list[float] = 0.12, px_per_in: float = PX_PER_IN
) -> tuple[Trace, ...]:
    """Draw roots and follow them."""
    root_map, image = wall_of(covered(lines_in, width_in, px_per_in), px_per_in)
    return follow_roots(root_map, image, SURFACE, FollowSettings())


def turned(line_in: Points, angle_deg: float, shift_in: Points | tuple[float, float] = (0.0, 0.0)) -> Points:
    """A line turned about the middle of the wall and shifted."""
    cos, sin = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    middle = np.array([SIDE_IN, SIDE_IN]) / 2
    return (np.asarray(line_in) - middle) @ np.array([[cos, sin], [-sin, cos]]) + middle + shift_in

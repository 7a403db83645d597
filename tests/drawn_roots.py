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
BLUR_PX, NOISE_GREY = 0.7, 3.0
FLANK = 0.5
"""Brightness of a root where it turns away, beside its crest."""


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


def wall_of(
    picture: NDArray, px_per_in: float = PX_PER_IN, grey: NDArray | None = None
) -> tuple[RootMap, WallImage]:
    """Root map and flat wall of a drawn picture, with the blur and noise that a photo has."""
    grid = Grid(px_per_in, 0.0, 0.0, picture.shape)
    grey = SOIL_GREY + (ROOT_GREY - SOIL_GREY) * picture if grey is None else grey
    noise = np.random.default_rng(0).normal(0, NOISE_GREY, picture.shape)
    seen = (cv2.GaussianBlur(grey, (0, 0), BLUR_PX) + noise).clip(0, 255).astype(np.uint8)
    image = WallImage(np.dstack([seen] * 3), np.ones(picture.shape, dtype=bool), grid)
    probability = picture.astype(np.float32)
    return RootMap(probability, probability > 0.5, grid), image


def lit(covers: list[NDArray]) -> NDArray:
    """Grey of roots that lie over those before them: as tubes, whose flanks turn away from the light."""
    grey = np.full(covers[0].shape, SOIL_GREY)
    for cover in covers:
        depth = cv2.distanceTransform((cover > 0.5).astype(np.uint8), cv2.DIST_L2, 5)
        facing = np.sqrt(1 - (1 - depth / max(float(depth.max()), 1.0)) ** 2)
        grey += cover * (ROOT_GREY * (FLANK + (1 - FLANK) * facing) - grey)
    return grey


def followed(
    lines_in: list[Points], width_in: float | list[float] = 0.12, px_per_in: float = PX_PER_IN
) -> tuple[Trace, ...]:
    """Draw roots and follow them."""
    return follow_roots(*crossing(lines_in, width_in, px_per_in), SURFACE, FollowSettings())


def crossing(
    lines_in: list[Points], width_in: float | list[float] = 0.12, px_per_in: float = PX_PER_IN
) -> tuple[RootMap, WallImage]:
    """The wall of roots of which each lies over those before it."""
    widths = width_in if isinstance(width_in, list) else [width_in] * len(lines_in)
    covers = [covered([line], wide, px_per_in) for line, wide in zip(lines_in, widths, strict=True)]
    return wall_of(np.max(covers, axis=0), px_per_in, lit(covers))


def turned(line_in: Points, angle_deg: float, shift_in: Points | tuple[float, float] = (0.0, 0.0)) -> Points:
    """A line turned about the middle of the wall and shifted."""
    cos, sin = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    middle = np.array([SIDE_IN, SIDE_IN]) / 2
    return (np.asarray(line_in) - middle) @ np.array([[cos, sin], [-sin, cos]]) + middle + shift_in

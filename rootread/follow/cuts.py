"""Roots that the photo does not show to their end: its edge, or the scale object, ends them."""

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.follow.types import Trace
from rootread.geometry import Points
from rootread.plane.types import Surface, WallImage

CUT_REACH_IN = 0.25
"""An end nearer than this, and a width, to where the visible soil ends is cut by it."""
SURFACE_BAND_IN = 0.5
"""Soil this far below the surface line counts as surface: the line is not sure to the pixel."""


def with_cuts(traces: Sequence[Trace], image: WallImage, surface: Surface) -> tuple[Trace, ...]:
    """The traces, marked ``cut`` where the photo's edge, the wall's side or the scale object ends them.

    Roots end at the soil surface by nature; that is no cut.
    """
    if not traces:
        return ()
    px_per_in = image.grid.px_per_in
    beside_px = distance_to_unseen(image, surface)
    ends_px = image.grid.to_px(np.concatenate([trace.points[[0, -1]] for trace in traces]))
    width_in = np.concatenate([trace.width_in[[0, -1]] for trace in traces])
    at_edge = _at(beside_px, ends_px) < (CUT_REACH_IN + width_in) * px_per_in
    cut = at_edge[0::2] | at_edge[1::2]
    return tuple(replace(trace, cut=bool(cut[k])) for k, trace in enumerate(traces))


def distance_to_unseen(image: WallImage, surface: Surface) -> NDArray[np.float32]:
    """``(M, N)`` px from each pixel to where the photo shows no soil below the surface."""
    x_in = image.grid.to_in(np.column_stack([np.arange(image.soil.shape[1]), np.zeros(image.soil.shape[1])]))
    z_in = image.grid.to_in(np.column_stack([np.zeros(image.soil.shape[0]), np.arange(image.soil.shape[0])]))
    surface_in = np.interp(x_in[:, 0], surface.line_in[:, 0], surface.line_in[:, 1])
    shown = image.soil | (z_in[:, 1][:, None] <= surface_in[None] + SURFACE_BAND_IN)
    return cv2.distanceTransform(np.pad(shown, 1).astype(np.uint8), cv2.DIST_L2, 3)[1:-1, 1:-1]


def _at(values: NDArray[np.float32], points_px: Points) -> NDArray[np.float32]:
    column, row = np.round(points_px).astype(int).T
    return values[row.clip(0, values.shape[0] - 1), column.clip(0, values.shape[1] - 1)]

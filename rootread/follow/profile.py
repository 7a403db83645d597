"""Width and centre of a root from its two edges in the photo, to a fraction of a pixel.

Across the root, brightness climbs from the soil (or from the seam to a
neighbour) to the root and falls again. Each edge is where it changes fastest;
a parabola through the steepest step and its neighbours places it between
pixels. What single places along a root say is smoothed by a running median.
"""

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from rootread.geometry import Points

STEP_PX = 0.5
"""Spacing of the samples across the root."""
BLUR_PX = 0.7
"""Blur of the photo before edges are sought."""
NEAREST, FARTHEST, SLACK_PX = 0.5, 1.6, 1.5
"""Edges are sought from NEAREST to FARTHEST times the mask's half width, and SLACK_PX beyond."""
MEDIAN_PX = 11
"""Window of the running median along the root."""


def edge_places(
    grey: NDArray[np.float32], points_px: Points, normal: Points, half_width_px: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Distance from each centreline point to the two edges, ``(N, 2)`` px, before any smoothing.

    Parameters
    ----------
    grey : ``(M, N)`` brightness, blurred a little.
    points_px : ``(N, 2)`` centreline, column and row.
    normal : ``(N, 2)`` unit vectors across the root; the first edge is against them.
    half_width_px : ``(N,)`` half width of the root pixels there.
    """
    reach = float(half_width_px.max(initial=1.0)) * FARTHEST + SLACK_PX + 2 * STEP_PX
    offset = np.arange(-np.ceil(reach / STEP_PX), np.ceil(reach / STEP_PX) + 1) * STEP_PX
    across = points_px[:, None] + offset[None, :, None] * normal[:, None]
    profile = cv2.remap(
        grey,
        across[..., 0].astype(np.float32),
        across[..., 1].astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    slope = np.gradient(profile, axis=1)
    inside = np.abs(offset)[None] <= NEAREST * half_width_px[:, None] + STEP_PX
    outside = ~inside & (np.abs(offset)[None] <= FARTHEST * half_width_px[:, None] + SLACK_PX)
    level_in = (profile * inside).sum(axis=1) / inside.sum(axis=1)
    level_out = (profile * outside).sum(axis=1) / np.maximum(outside.sum(axis=1), 1)
    polarity = np.where(level_in >= level_out, 1.0, -1.0)[:, None]
    places = []
    for side in (-1.0, 1.0):
        falling = -side * polarity * slope
        allowed = outside & (side * offset[None] > 0)
        places.append(_steepest(np.where(allowed, falling, -np.inf), falling, offset) * side)
    return np.column_stack(places)


def _steepest(
    allowed: NDArray[np.float64], slope: NDArray[np.float64], offset: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Offset of the largest allowed slope in each row, by a parabola through its neighbours."""
    row = np.arange(len(slope))
    at = allowed.argmax(axis=1).clip(1, slope.shape[1] - 2)
    before, here, after = slope[row, at - 1], slope[row, at], slope[row, at + 1]
    curve = before - 2 * here + after
    shift = np.where(curve < -1e-9, 0.5 * (before - after) / np.minimum(curve, -1e-9), 0.0)
    return offset[at] + shift.clip(-1, 1) * STEP_PX


def measure_edges(
    grey: NDArray[np.float32], points_px: Points, half_width_px: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Width ``(N,)`` px at every point of one centreline, and how far its centre lies along the normal."""
    tangent = np.gradient(points_px, axis=0)
    tangent /= np.maximum(np.hypot(tangent[:, 0], tangent[:, 1]), 1e-9)[:, None]
    normal = np.column_stack([-tangent[:, 1], tangent[:, 0]])
    places = edge_places(grey, points_px, normal, half_width_px)
    window = min(MEDIAN_PX, len(places) // 2 * 2 + 1)
    smooth = median_filter(places, size=(window, 1), mode="nearest")
    return smooth.sum(axis=1), 0.5 * (smooth[:, 1] - smooth[:, 0])

"""Width of a root from its two edges in the photo, to a fraction of a pixel, and how sure it is.

Across the root, brightness climbs from the soil (or from the seam to a
neighbour) to the root and falls again. A root is round: its flanks turn away
from the light, and the one in shade fades into the soil so gently that the
steepest place lies well inside the root. So each edge is sought at its *foot*:
outside the steepest place, where the slope has fallen to half. On an edge blurred by a Gaussian of standard
deviation sigma the foot lies sigma sqrt(2 ln 2) outside the edge, however wide
the root is; that much is taken off again.
"""

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from rootread.follow.company import beside_another
from rootread.follow.types import Trace
from rootread.geometry import Points
from rootread.plane.types import WallImage

STEP_PX = 0.5
"""Spacing of the samples across the root."""
BLUR_PX = 0.7
"""Blur of the photo before edges are sought."""
PHOTO_BLUR_PX = 0.65
"""What lens, pixels, laying flat and sampling blur by together, in working pixels: usual for good photos."""
SIGMA_PX = float(np.hypot(BLUR_PX, PHOTO_BLUR_PX))
FOOT_PX = SIGMA_PX * float(np.sqrt(2 * np.log(2)))
"""How far outside a blurred edge its slope has fallen to half."""
NEAREST, FARTHEST, SLACK_PX = 0.5, 1.6, 1.5
"""Edges are sought from NEAREST to FARTHEST times the mask's half width, and SLACK_PX beyond."""
MEDIAN_POINTS = 11
"""Window of the running median along the root."""
LEAST_PX = 1.0
"""No root that is seen at all is given a smaller width."""
SE_PX, SE_SHARE, SE_SCATTER, SE_DISAGREEMENT = 0.4, 0.11, 0.9, 0.8
"""Parts of a width's standard error, added in squares: pixels always; a share of the width, for light and
shade; of the scatter of its neighbours; of the difference from the width of the root pixels."""
SE_SHARE_TOUCHING = 0.22
"""A further share where another root touches: part of this one may lie beneath it."""


def with_measured_widths(traces: Sequence[Trace], image: WallImage) -> tuple[Trace, ...]:
    """The traces with widths from their edges in the photo, where they were seen.

    Parameters
    ----------
    traces : roots in wall inches whose widths are those of their root pixels.
    image : the flat wall.
    """
    grey = cv2.cvtColor(image.rgb, cv2.COLOR_RGB2GRAY).astype(np.float32)
    grey = cv2.GaussianBlur(grey, (0, 0), BLUR_PX)
    px_per_in = image.grid.px_per_in
    measured = []
    for trace, touches in zip(traces, beside_another(traces), strict=True):
        width_px, se_px = measure_width(grey, image.grid.to_px(trace.points), trace.width_in * px_per_in)
        se_px = np.hypot(se_px, SE_SHARE_TOUCHING * touches * width_px)
        seen = ~trace.inferred if not trace.inferred.all() else np.ones_like(trace.inferred)
        measured.append(
            replace(
                trace,
                width_in=np.where(seen, width_px / px_per_in, trace.width_in),
                width_se_in=float(np.median(se_px[seen])) / px_per_in,
            )
        )
    return tuple(measured)


def measure_width(
    grey: NDArray[np.float32], points_px: Points, mask_width_px: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Width ``(N,)`` px at every point of one centreline and its standard error.

    Parameters
    ----------
    grey : ``(M, N)`` brightness, blurred by ``BLUR_PX``.
    points_px : ``(N, 2)`` centreline, column and row.
    mask_width_px : ``(N,)`` width of the root pixels there.
    """
    tangent = np.gradient(points_px, axis=0)
    tangent /= np.maximum(np.hypot(tangent[:, 0], tangent[:, 1]), 1e-9)[:, None]
    normal = np.column_stack([-tangent[:, 1], tangent[:, 0]])
    places = edge_places(grey, points_px, normal, mask_width_px / 2)
    window = min(MEDIAN_POINTS, len(places) // 2 * 2 + 1)
    apart = median_filter(places, size=(window, 1), mode="nearest").sum(axis=1)
    # The feet of a line as thin as the blur stand apart by the blur's width as well as its own,
    # which is added about as independent spreads are, in squares.
    width = np.sqrt(np.maximum(apart**2 - 2 * PHOTO_BLUR_PX**2, LEAST_PX**2))
    scatter = median_filter(np.abs(places.sum(axis=1) - apart), size=window, mode="nearest")
    parts = (SE_PX, SE_SHARE * width, SE_SCATTER * scatter, SE_DISAGREEMENT * (width - mask_width_px))
    return width, np.sqrt(np.sum([np.square(part) * np.ones_like(width) for part in parts], axis=0))


def edge_places(
    grey: NDArray[np.float32], points_px: Points, normal: Points, half_width_px: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Distance from each centreline point to the two edges, ``(N, 2)`` px, before any smoothing.

    ``normal`` are ``(N, 2)`` unit vectors across the root; the first edge lies
    against them. ``half_width_px`` ``(N,)`` is half the width of the root pixels.
    """
    farthest = FARTHEST * half_width_px + SLACK_PX
    count = int(np.ceil((float(farthest.max(initial=1.0)) + 2 * FOOT_PX) / STEP_PX))
    out_px = np.arange(count + 1) * STEP_PX
    offset = np.concatenate([-out_px[:0:-1], out_px])
    across = (points_px[:, None] + offset[None, :, None] * normal[:, None]).astype(np.float32)
    profile = cv2.remap(
        grey, across[..., 0], across[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    near = np.abs(offset)[None] <= NEAREST * half_width_px[:, None] + STEP_PX
    level_in = (profile * near).sum(axis=1) / near.sum(axis=1)
    around = ~near & (np.abs(offset)[None] <= farthest[:, None])
    level_out = (profile * around).sum(axis=1) / np.maximum(around.sum(axis=1), 1)
    profile = profile * np.where(level_in >= level_out, 1.0, -1.0)[:, None]
    allowed = (out_px[None] > NEAREST * half_width_px[:, None] + STEP_PX) & (
        out_px[None] <= farthest[:, None]
    )
    sides = (profile[:, count::-1], profile[:, count:])
    return np.column_stack([_edge_place(-np.gradient(side, STEP_PX, axis=1), allowed) for side in sides])


def _edge_place(fall: NDArray[np.float64], allowed: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Distance from the centre to the edge in each row of ``fall``, the slope on the way out."""
    row = np.arange(len(fall))
    steepest = np.where(allowed, fall, -np.inf).argmax(axis=1).clip(1, fall.shape[1] - 2)
    half = 0.5 * fall[row, steepest]
    outside = np.arange(fall.shape[1])[None] > steepest[:, None]
    foot = (outside & (fall < half[:, None])).argmax(axis=1)
    foot = np.where(foot > 0, foot, steepest + 1)
    drop = np.maximum(fall[row, foot - 1] - fall[row, foot], 1e-9)
    between = ((fall[row, foot - 1] - half) / drop).clip(0, 1)
    return (foot - 1 + between) * STEP_PX - FOOT_PX

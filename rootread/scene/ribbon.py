"""Which pixels a line of some width covers, and where across and along it each one lies.

This is how roots, straw, cracks and marks get onto the pixel grid: the line is
walked in steps shorter than a pixel, each step reaches across, and for every
pixel touched the distance from the line is then computed exactly, so that
edges can be drawn smooth.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points, arc_length

STEP_PX = 0.65
"""Less than 1 / sqrt(2), so that no pixel between two samples is missed."""


class Ribbon(NamedTuple):
    """The ``K`` pixels of a line of ``M`` samples."""

    pixel: NDArray[np.intp]
    """``(K,)`` flat pixel index."""
    sample: NDArray[np.intp]
    """``(K,)`` the line's sample each pixel belongs to."""
    across: NDArray[np.float64]
    """``(K,)`` pixels off the centreline, to the right of the way along it positive."""
    half: NDArray[np.float64]
    """``(K,)`` half width there, pixels."""
    centre: Points
    """``(M, 2)`` column and row of each sample."""
    tangent: Points
    """``(M, 2)`` unit tangents, column and row."""
    along: NDArray[np.float64]
    """``(M,)`` place in the caller's point list, a fractional index."""


def cover(
    points_px: Points,
    half_px: NDArray[np.float64],
    shape: tuple[int, int],
    scratch: NDArray[np.int32],
    margin_px: float = 1.0,
) -> Ribbon | None:
    """Pixels within ``half_px + margin_px`` of a polyline, or None if it misses the window.

    Parameters
    ----------
    points_px : ``(N, 2)`` column and row.
    half_px : ``(N,)`` half widths.
    shape : rows and columns of the window.
    scratch : ``(rows * columns,)`` any content; overwritten, to save allocating it for each root.
    """
    reach = half_px.max() + margin_px
    low, high = points_px.min(axis=0), points_px.max(axis=0)
    if (high < -reach).any() or low[0] > shape[1] + reach or low[1] > shape[0] + reach:
        return None
    along_px = arc_length(points_px)
    if along_px[-1] < STEP_PX:
        return None
    at = np.linspace(0.0, along_px[-1], int(along_px[-1] / STEP_PX) + 2)
    place = np.interp(at, along_px, np.arange(len(points_px)))
    before = np.minimum(place.astype(int), len(points_px) - 2)
    share = (place - before)[:, None]
    centre = points_px[before] * (1 - share) + points_px[before + 1] * share
    half = np.interp(place, np.arange(len(points_px)), half_px)
    inside = (
        (centre[:, 0] > -reach) & (centre[:, 0] < shape[1] + reach)
        & (centre[:, 1] > -reach) & (centre[:, 1] < shape[0] + reach)
    )  # fmt: skip
    if not inside.any():
        return None
    tangent = np.gradient(centre, axis=0)
    tangent /= np.maximum(np.hypot(tangent[:, 0], tangent[:, 1]), 1e-9)[:, None]
    keep = np.flatnonzero(inside)
    count = int(np.ceil(reach / STEP_PX))
    # Farthest from the line first: where a bend reaches a pixel twice, the nearer reach is kept.
    offset = np.array(sorted(np.arange(-count, count + 1) * STEP_PX, key=abs, reverse=True))
    column, which = np.nonzero(np.abs(offset)[:, None] <= half[None, keep] + margin_px)
    sample = keep[which]
    reach_out = offset[column]
    col = np.rint(centre[sample, 0] - reach_out * tangent[sample, 1]).astype(np.int32)
    row = np.rint(centre[sample, 1] + reach_out * tangent[sample, 0]).astype(np.int32)
    valid = (col >= 0) & (col < shape[1]) & (row >= 0) & (row < shape[0])
    sample, col, row = sample[valid], col[valid], row[valid]
    if not len(sample):
        return None
    index = row.astype(np.intp) * shape[1] + col
    scratch[index] = np.arange(len(index), dtype=np.int32)
    once = scratch[index] == np.arange(len(index), dtype=np.int32)
    index, sample, col, row = index[once], sample[once], col[once], row[once]
    across = (row - centre[sample, 1]) * tangent[sample, 0] - (col - centre[sample, 0]) * tangent[sample, 1]
    return Ribbon(index, sample, across, half[sample], centre, tangent, place)

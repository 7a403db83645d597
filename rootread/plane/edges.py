"""Edges of printed things, to a fraction of a pixel.

An edge between two flat tones, blurred by any symmetric lens, crosses the mean
of the two tones exactly where it is, if the picture is in linear light; so
that crossing is what is looked for, in profiles averaged along the edge.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points
from rootread.plane.camera import Floats

# Profiles are read this finely; bilinear reading adds nothing below half a pixel.
STEP_PX = 0.5
# Tones this close, in linear light of a white of 1, have no edge between them to speak of.
MIN_CONTRAST = 0.01
# An edge's places further than this many robust standard deviations from its line are dust.
LINE_OUTLIERS = 3.0


def profiles_across(
    light: NDArray[np.float32], places_px: Points, normals: Points, reach_px: float, along_px: float
) -> tuple[NDArray[np.float32], Floats]:
    """Brightness across an edge at each of ``(N, 2)`` places.

    Each profile runs ``reach_px`` to both sides along the place's unit normal
    and is the mean over ``along_px`` along the edge. Returns ``(N, M)`` tones,
    NaN outside the photo, and the ``(M,)`` offsets in pixels.
    """
    count = max(round(reach_px / STEP_PX), 3)
    offsets = np.linspace(-reach_px, reach_px, 2 * count + 1)
    rows = max(round(along_px), 1)
    along = (np.arange(rows) - (rows - 1) / 2.0) * (along_px / rows)
    tangents = np.column_stack([-normals[:, 1], normals[:, 0]])
    grid = (
        places_px[:, None, None, :]
        + normals[:, None, None, :] * offsets[None, None, :, None]
        + tangents[:, None, None, :] * along[None, :, None, None]
    )
    shape = grid.shape[:3]
    flat = grid.reshape(len(places_px), -1, 2).astype(np.float32)
    tones = cv2.remap(
        light,
        flat[..., 0],
        flat[..., 1],
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=np.nan,
    )
    return tones.reshape(shape).mean(axis=1), offsets


def crossings(
    tones: NDArray[np.float32], offsets: Floats, rising: NDArray[np.bool_]
) -> tuple[Floats, NDArray[np.float64]]:
    """Where each profile crosses the mean of its two end tones, nearest to the middle.

    Parameters
    ----------
    tones : ``(N, M)`` profiles.
    offsets : ``(M,)`` pixels.
    rising : ``(N,)`` whether brightness rises along the profile.

    Returns
    -------
    ``(N,)`` offsets in pixels, NaN where there is no such edge, and ``(N,)``
    contrasts, light minus dark.
    """
    end = max(len(offsets) // 4, 2)
    signed = np.where(rising[:, None], tones, -tones).astype(np.float64)
    low, high = np.median(signed[:, :end], axis=1), np.median(signed[:, -end:], axis=1)
    contrast = high - low
    above = signed - (0.5 * (low + high))[:, None]
    crosses = (above[:, :-1] < 0) & (above[:, 1:] >= 0)
    rise = above[:, 1:] - above[:, :-1]
    with np.errstate(divide="ignore", invalid="ignore"):
        at = offsets[:-1] + np.diff(offsets) * (-above[:, :-1] / rise)
    far = np.where(crosses, np.abs(at), np.inf)
    best = np.argmin(far, axis=1)
    found = np.isfinite(far[np.arange(len(far)), best]) & (contrast > MIN_CONTRAST)
    where = at[np.arange(len(at)), best]
    return np.where(found, where, np.nan), np.where(np.isfinite(contrast), contrast, 0.0)


def dips(tones: NDArray[np.float32], offsets: Floats) -> tuple[Floats, NDArray[np.float64]]:
    """Where each profile is darkest: the middle of a thin dark line on a lighter ground.

    The centre of mass of what lies below the ground's tone, which for a
    symmetric line is its middle. Returns as ``crossings`` does.
    """
    end = max(len(offsets) // 5, 2)
    ground = np.median(np.concatenate([tones[:, :end], tones[:, -end:]], axis=1), axis=1)
    depth = ground[:, None] - tones.astype(np.float64)
    contrast = depth.max(axis=1)
    below = np.clip(depth - 0.4 * contrast[:, None], 0.0, None)
    with np.errstate(divide="ignore", invalid="ignore"):
        where = (below * offsets).sum(axis=1) / below.sum(axis=1)
    found = np.isfinite(where) & (contrast > MIN_CONTRAST)
    return np.where(found, where, np.nan), np.where(np.isfinite(contrast), contrast, 0.0)


def straight_edge(along: Floats, offset_px: Floats) -> tuple[Floats, float, NDArray[np.bool_]] | None:
    """A line ``offset = a + b * along`` through places on one edge, dust left out.

    Returns ``(2,)`` a and b, the standard error of the line's middle in pixels,
    and which places were used; None when too few places agree.
    """
    usable = np.isfinite(offset_px)
    if usable.sum() < 4:
        return None
    line = np.array([np.median(offset_px[usable]), 0.0])
    used = usable.copy()
    for _ in range(4):
        off = offset_px - (line[0] + line[1] * along)
        spread = max(1.4826 * float(np.median(np.abs(off[used]))), 0.05)
        used = usable & (np.abs(np.where(usable, off, np.inf)) <= LINE_OUTLIERS * spread)
        if used.sum() < 4:
            return None
        design = np.column_stack([np.ones(int(used.sum())), along[used]])
        line, *_ = np.linalg.lstsq(design, offset_px[used], rcond=None)
    off = offset_px[used] - (line[0] + line[1] * along[used])
    se = float(np.sqrt(np.sum(off**2) / max(len(off) - 2, 1) / len(off)))
    if used.sum() < 0.5 * len(along):
        return None
    return line, se, used

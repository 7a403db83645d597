"""Do plain ridges say the same as the network? A second opinion, asked only where the network sees a root.

The line operator of ``ridges`` tries all directions and widths at every pixel.
Here the network has said which way and how wide the root is, so one line
along it and one on either side are enough: the mean along the root must stand
out from both sides, paler than both or darker than both, in units of the
soil's own roughness.
"""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.find.halfsize import HalfWall

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

ALONG_IN = (-0.12, -0.06, 0.0, 0.06, 0.12)
"""Places along the root that are averaged: less than a 0.5 in wiggle."""
SIDES_HALF_WIDTHS = 1.6
SIDE_GAP_PX = 1.0
"""The sides lie so many half-widths and so much farther out, at half resolution: off the root, near it."""
ROUGH_IN = 0.7
"""The soil's roughness is taken over about this distance."""
OUTLYING = 0.4
"""Distances in log luminance beyond which a pixel is a pore or a crack."""
FAINTEST = 0.02
"""Roughness is never taken below this, in log luminance: a grey level or two."""
MIDWAY, STEEPNESS = 1.1, 1.6
"""Contrast at which the finders agree by half, and how fast agreement rises with it."""


def agreement(half: HalfWall, on: Mask, direction_rad: Image, half_width_px: Image, rough: Image) -> Image:
    """How far plain ridges agree, ``(m, n)`` 0 to 1; 0 where nothing was asked.

    Parameters
    ----------
    half : the wall at half resolution.
    on : ``(m, n)`` where the network sees a root.
    direction_rad, half_width_px : ``(m, n)`` of the root there, in half-resolution pixels.
    rough : ``(m, n)`` the soil's ``roughness``.
    """
    agreed = np.zeros(on.shape, np.float32)
    row, column = np.nonzero(on)
    if not len(row):
        return agreed
    smooth = cv2.GaussianBlur(half.tone, (0, 0), 0.7)
    cosine, sine = np.cos(direction_rad[row, column]), np.sin(direction_rad[row, column])
    off = SIDES_HALF_WIDTHS * half_width_px[row, column] + np.float32(SIDE_GAP_PX)

    def line(aside: Any) -> Image:
        """Mean tone along the root, so many pixels beside it."""
        at = np.float32(half.px_per_in) * np.array(ALONG_IN, np.float32)[:, None]
        x = column + at * cosine - aside * sine
        y = row + at * sine + aside * cosine
        return _read(smooth, x, y).mean(axis=0)

    middle, left, right = line(0.0), line(off), line(-off)
    # A shadow's edge stands out from one side only.
    contrast = np.maximum(middle - np.maximum(left, right), np.minimum(left, right) - middle)
    agreed[row, column] = 1 / (1 + np.exp(-STEEPNESS * (contrast / rough[row, column] - MIDWAY)))
    return agreed


def roughness(half: HalfWall, root: Mask) -> Image:
    """Standard deviation of the soil's tone from the tone about it, ``(m, n)``, over soil without root."""
    fine = half.tone - cv2.GaussianBlur(half.tone, (0, 0), 3.0)
    bare = (half.soil & ~root).astype(np.float32)
    # Averaged on an eighth of the grid: the average is far wider than its pixels.
    small = (max(half.tone.shape[1] // 8, 1), max(half.tone.shape[0] // 8, 1))
    spread = ROUGH_IN * half.px_per_in / 8

    def about(values: Image) -> Image:
        return cv2.GaussianBlur(cv2.resize(values, small, interpolation=cv2.INTER_AREA), (0, 0), spread)

    # Of a normal spread the mean distance is 0.8 standard deviations; pores and cracks are far out, not wide.
    usual = about(bare * np.minimum(np.abs(fine), OUTLYING)) / np.maximum(about(bare), 1e-3) / 0.8
    size = (half.tone.shape[1], half.tone.shape[0])
    return cv2.resize(usual, size, interpolation=cv2.INTER_LINEAR) + np.float32(FAINTEST)


def _read(values: Image, x: Image, y: Image) -> Image:
    """Values between pixels; pictures for ``cv2.remap`` are no longer than 32767 on a side."""
    flat = x.size
    width = 16384
    padded = -flat % width
    at_x, at_y = (np.pad(v.astype(np.float32).ravel(), (0, padded)).reshape(-1, width) for v in (x, y))
    found = [
        cv2.remap(
            values,
            at_x[k : k + 16384],
            at_y[k : k + 16384],
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
        for k in range(0, len(at_x), 16384)
    ]
    return np.concatenate(found).ravel()[:flat].reshape(x.shape)

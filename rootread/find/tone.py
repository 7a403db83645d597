"""Pale or dark against the soil: the cue that tells a root from a hollow.

Roots of one wall look alike. Where most of the root found is paler than the
soil about it, lines that are much darker are cracks and worm channels.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.find.ridges import LUMINANCE
from rootread.photo import to_linear

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

NEARBY_IN = 0.4
"""Spread of the soil about a place that counts for its tone."""
DARK = -0.6
"""In log luminance: little more than half as bright as the soil, darker than most shadows on a root."""
PALE = -0.1
AROUND_IN = 0.06
"""A line is dark where most of it is this near about: the lit rim of a crack goes with the crack,
the shaded flank of a root stays with the root."""
PALER_TIMES = 2.0
"""So many times more pale root than dark, in length, makes a wall of pale roots."""
DARKEST = 0.003
"""Linear luminance below which a picture tells nothing."""
LIKELY = 0.6
POSSIBLE = 0.09
BARE_BELOW = 0.12
"""Probabilities from which a pixel counts as root, from which it may be one, and below which it is bare."""
GROUND_SHARE = 0.01
"""The ground of a photo of unknown scale is what lies within so much of its longer side."""
FAINT_DARK, FULL_DARK = 0.02, 0.06
"""In log luminance: so much darker than the ground begins to count, and so much more counts wholly."""
REDUCTION = 4


def tone_against_soil(rgb: NDArray[np.uint8], soil: Mask, px_per_in: float) -> Image:
    """``(M, N)`` log luminance less the mean of the ``soil`` pixels nearby, from ``(M, N, 3)`` sRGB."""
    light = np.log(to_linear(rgb) @ LUMINANCE + DARKEST).astype(np.float32)
    rows, columns = soil.shape
    size = (max(columns // REDUCTION, 1), max(rows // REDUCTION, 1))
    spread = NEARBY_IN * px_per_in / REDUCTION

    def nearby(values: Image) -> Image:
        return cv2.GaussianBlur(cv2.resize(values, size, interpolation=cv2.INTER_AREA), (0, 0), spread)

    count = nearby(soil.astype(np.float32))
    mean = nearby(light * soil) / np.maximum(count, 1e-3)
    return light - cv2.resize(mean, (columns, rows), interpolation=cv2.INTER_LINEAR)


def darker_than_ground(rgb: NDArray[np.uint8], line: Image) -> Image:
    """``(M, N)`` 0 to 1, whether a pixel is darker than the ground about it, from ``(M, N, 3)`` sRGB.

    ``line`` is the ``(M, N)`` probability of a line. The ground is what is no
    line, so that the gap between two pale lines is ground and not a dark line.
    """
    light = np.log(to_linear(rgb) @ LUMINANCE + np.float32(DARKEST))
    reach = 2 * round(max(rgb.shape[:2]) * GROUND_SHARE) + 1
    bare = (line < BARE_BELOW).astype(np.float32)
    count = cv2.blur(bare, (reach, reach))
    ground = cv2.blur(light * bare, (reach, reach)) / np.maximum(count, 1e-3)
    return np.clip((ground - cv2.GaussianBlur(light, (0, 0), 1.0) - FAINT_DARK) / FULL_DARK, 0, 1)


def hollows(probability: Image, half_width_px: Image, tone: Image, px_per_in: float) -> Mask:
    """Dark lines on a wall whose roots are pale, ``(M, N)``; none where dark roots may be.

    Parameters
    ----------
    probability : ``(M, N)`` that a pixel is root.
    half_width_px : ``(M, N)`` of the root there; a pixel stands for 1 / width of length.
    tone : ``(M, N)`` log luminance against the soil.
    """
    length = np.where(probability > LIKELY, 1.0 / np.maximum(half_width_px, 0.5), 0.0)
    pale, dark = float(length[tone > PALE].sum()), float(length[tone < DARK].sum())
    if pale < PALER_TIMES * dark:
        return np.zeros(tone.shape, dtype=bool)
    likely = (probability > POSSIBLE).astype(np.float32)
    spread = AROUND_IN * px_per_in
    likely_about = cv2.GaussianBlur(likely, (0, 0), spread)
    dark_about = cv2.GaussianBlur(likely * (tone < DARK), (0, 0), spread)
    return (likely > 0) & (dark_about > 0.5 * likely_about)

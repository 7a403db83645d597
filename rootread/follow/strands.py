"""Roots that touch in the mask, parted along the dark seams between them in the photo.

Where one root lies on or beside another, the photo shows a line darker than
both: the shadow and the turned-away flanks where they meet. A dark line is a
place where brightness curves up across it: the larger eigenvalue of the matrix
of second derivatives is positive and large there. Root pixels alone are looked
at for it, since a root that is darker than its soil is a dark line itself.
"""

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.components import components
from rootread.find.types import RootMap
from rootread.follow.shown import Shown, shown_part
from rootread.plane.types import Grid, WallImage
from rootread.threads import both, share_out

EDGE_SMOOTHING_PX = 0.7
"""Blur before the skeleton: takes single-pixel steps off the mask's edge, keeps a 2.5 px root."""
HOLE_IN = 0.05
"""Holes in the mask up to this size across are noise, not soil between roots."""
SEAM_SIGMA_PX = 1.2
"""Blur before the second derivatives: about the half width of a seam."""
SEAM_REACH_PX = int(4 * SEAM_SIGMA_PX) + 3
"""So many pixels about one tell its strength: as far as the blur and a derivative reach."""
BAND_ROWS = 128
"""Rows worked at a time."""
SEAM_SURE = 0.07
"""Dip in brightness, as a share of it, that is surely a seam."""
SEAM_MAYBE = 0.035
"""Dip that goes on a seam that is sure elsewhere."""
RIM_WEIGHT = 0.02
"""Pixels on a root's rim show soil as well: they count where there are no others."""
LEAST_WEIGHT = 1e-3
"""Of the pixels about one; with less there is no root near."""
SEAM_MIN_PX = 5
"""Shorter seams are spots on a root."""


@dataclass(frozen=True, eq=False)
class Strands:
    """The root mask with touching roots parted, and what parted them."""

    mask: NDArray[np.bool_]
    """``(M, N)`` root pixels, seams left out."""
    whole_mask: NDArray[np.bool_]
    """``(M, N)`` root pixels, seams included."""
    dip: NDArray[np.float32]
    """``(M, N)`` how much darker than its two sides each pixel is, a share; of soil as well as of roots, by
    which joins are weighed."""
    rgb: NDArray[np.uint8]
    """``(M, N, 3)`` sRGB."""
    probability: NDArray[np.float32]
    """``(M, N)`` probability of root."""
    hidden: NDArray[np.bool_]
    """``(M, N)`` where the scale object, the sky or the photo's edge shows instead of the wall."""
    grid: Grid

    @cached_property
    def radius_px(self) -> NDArray[np.float32]:
        """``(M, N)`` distance to the nearest pixel that is no strand."""
        return cv2.distanceTransform(self.mask.astype(np.uint8), cv2.DIST_L2, 5)

    @cached_property
    def soil(self) -> Shown:
        """The visible soil, and where it ends."""
        return shown_part(~self.hidden)


def find_strands(root_map: RootMap, image: WallImage) -> Strands:
    """Part the roots of a root map along the seams in the photo."""
    whole, dip = both(lambda: _calm_mask(root_map), lambda: dark_line_strength(image.rgb))
    hidden = ~image.soil
    dip[hidden] = 0
    mask = part_strands(whole, dark_line_strength(image.rgb, _weight_of_roots(whole)))
    return Strands(mask, whole, dip, image.rgb, root_map.probability, hidden, root_map.grid)


def _calm_mask(root_map: RootMap) -> NDArray[np.bool_]:
    """The mask without single-pixel steps and pinholes."""
    blurred = cv2.GaussianBlur(root_map.mask.astype(np.float32), (0, 0), EDGE_SMOOTHING_PX)
    mask = blurred > 0.4
    return mask | _pinholes(mask, HOLE_IN * root_map.grid.px_per_in)


def _pinholes(mask: NDArray[np.bool_], side_px: float) -> NDArray[np.bool_]:
    """``(M, N)`` pixels of holes in a mask that are no larger than a square of a side."""
    # So small a hole holds no square of a wider side, and closing with one fills it. What is filled
    # beside are notches, which open soil touches.
    wider = 2 * int(np.ceil(side_px / 2)) + 1
    padded = np.pad(mask, wider, constant_values=True).view(np.uint8)
    closed = cv2.morphologyEx(padded, cv2.MORPH_CLOSE, np.ones((wider, wider), np.uint8))
    filled = closed[wider:-wider, wider:-wider] > 0
    pieces = components(filled & ~mask, connectivity=4)
    cross = cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3))
    open_soil = cv2.dilate((~filled).astype(np.uint8), cross) > 0
    return pieces.mask((pieces.px <= side_px**2) & (pieces.px_in(open_soil) == 0))


def part_strands(mask: NDArray[np.bool_], dip: NDArray[np.float32]) -> NDArray[np.bool_]:
    """The ``(M, N)`` mask without the seams between roots that touch."""
    # Only where two thin roots would fit side by side.
    inside = cv2.erode(mask.view(np.uint8), np.ones((3, 3), np.uint8)) > 0
    maybe = (dip > SEAM_MAYBE) & inside
    pieces = components(maybe)
    seam = pieces.mask((pieces.reach_px >= SEAM_MIN_PX) & (pieces.px_in(dip > SEAM_SURE) > 0))
    # A seam runs out into the notch where its two roots part.
    reach = cv2.dilate(seam.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    seam |= reach & (dip > SEAM_MAYBE)
    return mask & ~seam


def _weight_of_roots(mask: NDArray[np.bool_]) -> NDArray[np.float32]:
    """``(M, N)`` how much each pixel tells of how bright roots are."""
    cross = cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3))
    inner = cv2.erode(mask.view(np.uint8), cross)
    return np.maximum(inner, np.float32(RIM_WEIGHT) * mask)


def dark_line_strength(
    rgb: NDArray[np.uint8], weight: NDArray[np.float32] | None = None
) -> NDArray[np.float32]:
    """``(M, N)`` how much darker than its two sides each pixel is, as a share of its brightness.

    With a weight of each pixel, brightness is blurred as a weighted mean (normalised convolution: Knutsson
    and Westin 1993; from memory), so that pixels of weight 0 say nothing.

    The larger eigenvalue of the Hessian of log brightness times sigma squared
    (scale-normalised, so that it does not depend on the blur chosen). Worked in bands of rows, which stay
    in the processor's own memory; they meet without a seam.
    """
    strength = np.empty(rgb.shape[:2], np.float32)

    def work(top: int) -> None:
        first = max(top - SEAM_REACH_PX, 0)
        rows = slice(first, top + BAND_ROWS + SEAM_REACH_PX)
        piece = _dark_lines(rgb[rows], None if weight is None else weight[rows])
        strength[top : top + BAND_ROWS] = piece[top - first : top - first + BAND_ROWS]

    share_out(work, range(0, len(rgb), BAND_ROWS))
    return strength


def _dark_lines(rgb: NDArray[np.uint8], weight: NDArray[np.float32] | None) -> NDArray[np.float32]:
    light = np.log(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY).astype(np.float32) + 10.0)
    if weight is None:
        blurred = cv2.GaussianBlur(light, (0, 0), SEAM_SIGMA_PX)
    else:
        total, mass = (cv2.GaussianBlur(part, (0, 0), SEAM_SIGMA_PX) for part in (light * weight, weight))
        blurred = total / np.maximum(mass, LEAST_WEIGHT)
    # Sobel's second-derivative masks of size 3 sum to 4 times the derivative.
    d_xx = cv2.Sobel(blurred, cv2.CV_32F, 2, 0, ksize=3)
    d_yy = cv2.Sobel(blurred, cv2.CV_32F, 0, 2, ksize=3)
    d_xy = cv2.Sobel(blurred, cv2.CV_32F, 1, 1, ksize=3)
    root = np.sqrt((0.5 * (d_xx - d_yy)) ** 2 + d_xy**2)
    return SEAM_SIGMA_PX**2 / 4 * (0.5 * (d_xx + d_yy) + root)

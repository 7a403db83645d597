"""Roots that touch in the mask, parted along the seams between them in the photo."""

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.components import components
from rootread.find.types import RootMap
from rootread.follow.darklines import DarkLines
from rootread.follow.seams import seam_probability
from rootread.follow.shown import Shown, shown_part
from rootread.plane.types import Grid, WallImage
from rootread.threads import share_out

EDGE_SMOOTHING_PX = 0.7
"""Blur before the skeleton: takes single-pixel steps off the mask's edge, keeps a 2.5 px root."""
HOLE_IN = 0.05
"""Holes in the mask up to this size across are noise, not soil between roots."""
BAND_ROWS = 32
"""Rows of layers made at a time."""
SEAM_SURE = 0.5
"""Chance of a seam from which there is one."""
SEAM_MAYBE = 0.3
"""Chance that goes on a seam that is sure elsewhere."""
SEAM_MIN_PX = 5
"""Shorter seams are spots on a root."""
SEAM_INSIDE = 0.5
"""At least this share of a seam's pixels has root on all sides."""


@dataclass(frozen=True, eq=False)
class Strands:
    """The root mask with touching roots parted, and what parted them."""

    mask: NDArray[np.bool_]
    """``(M, N)`` root pixels, seams left out."""
    whole_mask: NDArray[np.bool_]
    """``(M, N)`` root pixels, seams included."""
    dip: DarkLines
    """Of soil as well as of roots, by which joins are weighed; 0 where ``hidden``."""
    seam: NDArray[np.float32]
    """``(M, N)`` chance that a root pixel lies between two roots."""
    rgb: NDArray[np.uint8]
    """``(M, N, 3)`` sRGB."""
    probability: NDArray[np.float32]
    """``(M, N)`` probability of root."""
    hidden: NDArray[np.bool_]
    """``(M, N)`` where the scale object, the sky or the photo's edge shows instead of the wall."""
    grid: Grid

    @cached_property
    def radius_px(self) -> NDArray[np.float32]:
        """``(M, N)`` distance to the nearest pixel that is no strand, no more than half the shorter side."""
        away = cv2.distanceTransform(self.mask.astype(np.uint8), cv2.DIST_L2, 5)
        # Where all is root there is no such pixel; then no root is wider than the picture shows.
        return np.minimum(away, np.float32(min(self.mask.shape) / 2), out=away)

    @cached_property
    def layers(self) -> NDArray[np.uint8]:
        """``(M, N, 4)`` what joins and encounters are looked at in: red, green, blue, and the probability
        of one and the same root, each 0 to 255."""
        layers = np.empty((*self.mask.shape, 4), np.uint8)

        def work(top: int) -> None:
            rows = slice(top, top + BAND_ROWS)
            same = (255 * self.probability[rows] * (1 - self.seam[rows])).astype(np.uint8)
            cv2.cvtColor(self.rgb[rows], cv2.COLOR_RGB2RGBA, dst=layers[rows])
            cv2.insertChannel(same, layers[rows], 3)

        share_out(work, range(0, len(layers), BAND_ROWS))
        return layers

    @cached_property
    def soil(self) -> Shown:
        """The visible soil, and where it ends."""
        return shown_part(~self.hidden)


def find_strands(root_map: RootMap, image: WallImage) -> Strands:
    """Part the roots of a root map along the seams in the photo."""
    whole = _calm_mask(root_map)
    seam = seam_probability(image.rgb, whole, image.grid.px_per_in)
    hidden = ~image.soil
    mask = part_strands(whole, seam)
    dip = DarkLines(image.rgb, hidden)
    return Strands(mask, whole, dip, seam, image.rgb, root_map.probability, hidden, root_map.grid)


def _calm_mask(root_map: RootMap) -> NDArray[np.bool_]:
    """The mask without single-pixel steps and pinholes."""
    calm = np.zeros_like(root_map.mask)
    filled = np.flatnonzero(root_map.mask.any(axis=1))
    if len(filled):
        # Above and below all roots there is nothing to calm, as far off as what is done here reaches.
        hole_px = HOLE_IN * root_map.grid.px_per_in
        reach = 4 * int(np.ceil(hole_px)) + 16
        rows = slice(max(int(filled[0]) - reach, 0), int(filled[-1]) + reach + 1)
        blurred = cv2.GaussianBlur(root_map.mask[rows].astype(np.float32), (0, 0), EDGE_SMOOTHING_PX)
        mask = blurred > 0.4
        calm[rows] = mask | _pinholes(mask, hole_px)
    return calm


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


def part_strands(mask: NDArray[np.bool_], seam: NDArray[np.float32]) -> NDArray[np.bool_]:
    """The ``(M, N)`` mask without the seams between roots that touch."""
    pieces = components((seam > SEAM_MAYBE) & mask)
    # What runs along the mask's rim parts a root from soil, if anything.
    inside = cv2.erode(mask.view(np.uint8), np.ones((3, 3), np.uint8)) > 0
    between = pieces.px_in(inside) >= SEAM_INSIDE * pieces.px
    sure = pieces.px_in(seam > SEAM_SURE) > 0
    return mask & ~pieces.mask((pieces.reach_px >= SEAM_MIN_PX) & between & sure)

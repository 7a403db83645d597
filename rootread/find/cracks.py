"""Cracks and worm channels in the face: dark lines that last, told apart from roots and their shadows.

A dark line is a valley of brightness: the second derivative across it is
large, the one along it small (the eigenvalues of the Hessian; Lindeberg 1998,
Int. J. Computer Vision 30:117, from memory), at the scale of its width. It is
a crack where it is also much darker than the soil about it and lasts for an
inch. Roots lie on the face and are paler than a hollow, even where they follow
one: their own pixels are no crack, nor is the shadow along their flank.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.components import components
from rootread.find.halfsize import HalfWall
from rootread.threads import both, share_out

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

WIDTHS_IN = (0.05, 0.11, 0.22)
"""Widths of cracks that are looked for."""
WIDE_PX = 1.8
LOW, HIGH = 0.8, 1.6
"""Hysteresis on the valley's depth, in units of the soil's roughness."""
DARKER = 0.6
"""In log luminance: a crack has little more than half the light of the soil about it."""
ABOUT_IN = 0.5
LEAST_IN = 1.0
FLANK_IN = 0.05
"""So far beside a root its own shadow lies."""
EDGE_IN = 0.25
"""So near to the scale object, the surface and the photo's edge a dark line is their shade."""
ROUGH_IN = 0.7
"""The soil's roughness is taken over about this distance."""
OUTLYING = 0.4
"""Distances in log luminance beyond which a pixel is a pore or a crack."""
FAINTEST = 0.02
"""Roughness is never taken below this, in log luminance: a grey level or two."""
SLENDER = 4.0
"""A crack is at least so many times as long as wide; a hole or a clod's shade is not."""


def crack_map(half: HalfWall, root: Mask) -> Mask:
    """``(m, n)`` pixels that show a crack or channel, at half resolution.

    Parameters
    ----------
    half : the wall.
    root : ``(m, n)`` where roots are.
    """
    tone = fill_roots(half.tone, root)
    valley, rough = both(lambda: valley_depth(tone, half.px_per_in), lambda: roughness(half, root))
    depth = valley / rough
    around = cv2.blur(tone, (2 * round(ABOUT_IN * half.px_per_in / 2) + 1,) * 2)
    reach = 2 * max(round(FLANK_IN * half.px_per_in), 1) + 1
    flank = cv2.dilate(root.astype(np.uint8), np.ones((reach, reach), np.uint8)) > 0
    inner = 2 * round(EDGE_IN * half.px_per_in) + 1
    edge = cv2.erode(half.soil.astype(np.uint8), np.ones((inner, inner), np.uint8)) > 0
    dark = (cv2.GaussianBlur(tone, (0, 0), 1.0) < around - DARKER) & edge & ~flank
    weak = (dark & (depth > LOW)).astype(np.uint8)
    # Bridged over a missing pixel or two, so that a ragged line is one piece.
    pieces = components(cv2.morphologyEx(weak, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8)) > 0)
    reach_px, sure = pieces.reach_px, pieces.px_in((depth > HIGH) & dark)
    long = (reach_px > LEAST_IN * half.px_per_in) & (sure > 0.5 * reach_px)
    return pieces.mask(long & (reach_px > SLENDER * pieces.px / reach_px))


def valley_depth(tone: Image, px_per_in: float) -> Image:
    """How deep a dark line each pixel lies in, ``(m, n)`` log luminance, the most over all widths."""
    deepest = np.zeros_like(tone)
    for valley in share_out(lambda width_in: _valley(tone, width_in * px_per_in), WIDTHS_IN):
        cv2.max(deepest, valley, dst=deepest)
    return deepest


def _valley(tone: Image, width_px: float) -> Image:
    """The same for dark lines of one width."""
    # A line of width w answers most to derivatives of a Gaussian of standard deviation w / 2 or so.
    scale = max(0.5 * width_px, 0.8)
    # A wide line loses nothing on a grid twice as coarse.
    shrink = 2 if scale > WIDE_PX else 1
    size = (max(tone.shape[1] // shrink, 1), max(tone.shape[0] // shrink, 1))
    smooth = cv2.resize(tone, size, interpolation=cv2.INTER_AREA) if shrink > 1 else tone
    scale /= shrink
    smooth = cv2.GaussianBlur(smooth, (0, 0), scale)
    across, along, mixed = (
        cv2.Sobel(smooth, cv2.CV_32F, right, down, ksize=3, scale=0.25)
        for right, down in ((2, 0), (0, 2), (1, 1))
    )
    half_sum, spread = 0.5 * (across + along), cv2.magnitude(0.5 * (across - along), mixed)
    valley = np.float32(scale**2) * (half_sum + spread - np.abs(half_sum - spread))
    return cv2.resize(valley, tone.shape[::-1], interpolation=cv2.INTER_LINEAR) if shrink > 1 else valley


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


def fill_roots(tone: Image, root: Mask) -> Image:
    """The tone with roots replaced by that of the soil near them, lest the gap between two be a valley."""
    bare = (~root).astype(np.float32)
    count = cv2.blur(bare, (25, 25))
    mean = cv2.blur(tone * bare, (25, 25)) / np.maximum(count, 1e-3)
    return np.where(root & (count > 0.02), mean, tone)

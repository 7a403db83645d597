"""Edges of shadows on the wall: roots at one are read less surely.

A sharp edge of shade needs the sun, and what the sun no longer lights is lit by
the sky alone, which is bluer. Soil changes its colour otherwise: a horizon, or
the pit's floor, is level and as warm below as above.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.components import Components, components
from rootread.photo import to_linear
from rootread.plane.types import WallImage

Image = NDArray[np.float32]

SHADOW_RATIO = 2.0
"""Light twice as strong on one side as on the other: one stop."""
SHADOW_SPAN_IN = 0.5
"""Distance over which the light has to change: soil horizons mostly pass over into each other more slowly."""
SHADOW_PIECE_IN = 4.0
"""An edge is a shadow's if it goes on for this long."""
SAME_COLOUR = 0.3
"""A shadow's change of log red over blue is less than this share of its change of log tone."""
BLUER = 0.08
"""And on a level edge more than this share, or it is soil's. On 45 made walls (seeds 500 to 544) level edges
of horizons and of the pit's floor have -0.15 to 0.06, those of shadows in the sun mostly 0.1 to 0.2."""
REMEDY = "Shade the whole wall with a sheet, or wait for cloud."
TOLD_LENGTH_IN = 6.0
"""Less edge than this is worth no word."""
COARSE_PX_PER_IN = 8.0
FINE_TIMES = 4
"""Pictures are first brought to so many times that, as they are stored: it keeps memory small."""


def shadow_cautions(image: WallImage) -> tuple[str, ...]:
    """What to tell a person of the shadow edges on a wall; states no length."""
    if shadow_edge_length_in(image) < TOLD_LENGTH_IN:
        return ()
    return (f"A shadow's edge lies on the wall, and roots at it are read less surely. {REMEDY}",)


def shadow_edge_length_in(image: WallImage) -> float:
    """Length of the lines across which the light changes at least twofold within half an inch.

    A coarse picture, by medians, leaves out what is narrower than about an
    inch: roots, clods, stones, cracks.
    """
    light, whole = _coarse_light(image)
    span = max(round(SHADOW_SPAN_IN * COARSE_PX_PER_IN / 2), 1)
    tone = _change(_without_small_things(np.log(light.mean(axis=2))), span)
    warmth = _change(_without_small_things(np.log(light[..., 0] / light[..., 2])), span)
    reach = np.ones((2 * span + 5,) * 2, np.uint8)
    inside = cv2.erode(np.pad(whole.astype(np.uint8), 1), reach, borderValue=0)[1:-1, 1:-1] > 0
    size = np.hypot(*tone)
    edge = (size > np.log(SHADOW_RATIO)) & (np.hypot(*warmth) < SAME_COLOUR * size) & inside
    pieces = components(edge)
    kept = (pieces.reach_px > SHADOW_PIECE_IN * COARSE_PX_PER_IN) & _lit_by_sky(pieces, tone, warmth)
    return float(pieces.reach_px[kept].sum() / COARSE_PX_PER_IN)


def _coarse_light(image: WallImage) -> tuple[Image, NDArray[np.bool_]]:
    """``(m, n, 3)`` linear light at a few pixels an inch, and ``(m, n)`` where all under a pixel is soil."""

    def shrunk(values: NDArray[np.uint8] | Image, px_per_in: float, times: float) -> Image:
        rows, columns = image.soil.shape
        size = [max(round(side * times * px_per_in / image.grid.px_per_in), 4) for side in (columns, rows)]
        small: Image = cv2.resize(values, size, interpolation=cv2.INTER_AREA)
        return small

    finer = min(FINE_TIMES, image.grid.px_per_in / COARSE_PX_PER_IN)
    fine = to_linear(shrunk(image.rgb, COARSE_PX_PER_IN, finer).astype(np.uint8))
    soil = shrunk(image.soil.astype(np.uint8) * np.uint8(255), COARSE_PX_PER_IN, finer) / np.float32(255)
    share = shrunk(soil, COARSE_PX_PER_IN, 1.0)
    light = shrunk(fine * soil[..., None], COARSE_PX_PER_IN, 1.0)
    return np.maximum(light / np.maximum(share, 0.2)[..., None], 1e-3), share > 0.9


def _lit_by_sky(pieces: Components, tone: Image, warmth: Image) -> NDArray[np.bool_]:
    """``(C,)`` which edges are bluer on their dark side; upright ones, as no soil's are, need not be."""
    down, across, squared, together = (
        np.bincount(pieces.of, values.ravel()[pieces.at], minlength=pieces.count)
        for values in (np.abs(tone[0]), np.abs(tone[1]), (tone**2).sum(axis=0), (tone * warmth).sum(axis=0))
    )
    tint = together / np.maximum(squared, 1e-6)
    return (tint > BLUER) | ((across > down) & (tint > -BLUER))


def _without_small_things(values: Image) -> Image:
    """Median over about 1.4 in, in steps of 1/40 (OpenCV takes wide medians of bytes only)."""
    low = float(values.min())
    steps = np.clip((values - low) * 40, 0, 255).astype(np.uint8)
    return cv2.medianBlur(steps, 11).astype(np.float32) / 40


def _change(values: Image, span: int) -> Image:
    """``(2, m, n)`` difference over twice the span, down and across."""
    return np.stack([np.roll(values, -span, axis) - np.roll(values, span, axis) for axis in (0, 1)])

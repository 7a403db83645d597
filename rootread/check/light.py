"""Exposure and shadow edges on the wall."""

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.check.types import Finding, State
from rootread.components import components
from rootread.photo import to_linear
from rootread.plane import WallImage
from rootread.units import length_words

CLIPPED_LOOK, CLIPPED_BAD = 0.02, 0.10
"""Shares of the wall that are burnt out or black."""
SHADOW_RATIO = 2.0
"""Light twice as strong on one side as on the other: one stop."""
SHADOW_SPAN_IN = 0.5
"""Distance over which the light has to change: soil horizons mostly pass over into each other more slowly."""
SHADOW_PIECE_IN = 4.0
"""An edge is a shadow's if it goes on for this long."""
SAME_COLOUR = 0.3
"""A shadow's change of log red over blue is less than this share of its change of log tone."""
SHADOW_LENGTH_LOOK_IN = 6.0
COARSE_PX_PER_IN = 8.0


def exposure(image: WallImage) -> Finding:
    """Parts of the wall without any tone left, too bright or too dark."""
    tones = image.rgb[image.soil]
    burnt = float((tones.max(axis=1) >= 254).mean())
    black = float((tones.max(axis=1) <= 6).mean())
    share, what, remedy = (
        (burnt, "burnt out", "Expose for the brightest soil, or shade the wall.")
        if burnt >= black
        else (black, "black", "Expose longer, or lighten the wall with a white sheet.")
    )
    state: State = "bad" if share > CLIPPED_BAD else "look" if share > CLIPPED_LOOK else "good"
    seen = f"{100 * share:.0f} % of the wall is {what}" if share >= 0.005 else "tones all over the wall"
    return Finding("exposure", state, seen, "" if state == "good" else remedy)


def shadow_edges(image: WallImage) -> Finding:
    """Sharp changes of light across the wall: the edge of a shadow."""
    length_in = shadow_edge_length_in(image)
    if length_in < SHADOW_LENGTH_LOOK_IN:
        return Finding("shadow edges", "good", "even light")
    return Finding(
        "shadow edges",
        "look",
        f"about {length_words(length_in, 0)} of shadow edge on the wall",
        "Shade the whole wall with a sheet, or wait for cloud: roots at a shadow's edge read less surely.",
    )


def shadow_edge_length_in(image: WallImage) -> float:
    """Length of the lines across which the light changes at least twofold within half an inch.

    A coarse picture, by medians, leaves out what is narrower than about an
    inch: roots, clods, stones, cracks. A horizon changes colour with its tone; a
    shadow changes the tone and leaves the ratio of red to blue nearly alone.
    """
    reduction = image.grid.px_per_in / COARSE_PX_PER_IN
    rows, columns = image.soil.shape
    size = (max(round(columns / reduction), 4), max(round(rows / reduction), 4))
    weight = cv2.resize(image.soil.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    light = cv2.resize(to_linear(image.rgb) * image.soil[..., None], size, interpolation=cv2.INTER_AREA)
    light = np.maximum(light / np.maximum(weight, 0.2)[..., None], 1e-3)
    tone = _without_small_things(np.log(light.mean(axis=2)))
    warmth = _without_small_things(np.log(light[..., 0] / light[..., 2]))
    span = max(round(SHADOW_SPAN_IN * COARSE_PX_PER_IN / 2), 1)
    whole = np.pad((weight > 0.9).astype(np.uint8), 1)
    inside = cv2.erode(whole, np.ones((2 * span + 5,) * 2, np.uint8), borderValue=0)[1:-1, 1:-1] > 0
    change = _change(tone, span)
    edge = (change > np.log(SHADOW_RATIO)) & (_change(warmth, span) < SAME_COLOUR * change) & inside
    reach_px = components(edge).reach_px
    return float(reach_px[reach_px > SHADOW_PIECE_IN * COARSE_PX_PER_IN].sum() / COARSE_PX_PER_IN)


def _without_small_things(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """Median over about 1.4 in, in steps of 1/40 (OpenCV takes wide medians of bytes only)."""
    low = float(values.min())
    steps = np.clip((values - low) * 40, 0, 255).astype(np.uint8)
    return cv2.medianBlur(steps, 11).astype(np.float32) / 40


def _change(values: NDArray[np.float32], span: int) -> NDArray[np.float32]:
    """Size of the difference over twice the span, along columns and rows together."""
    differences = (np.roll(values, -span, axis) - np.roll(values, span, axis) for axis in (0, 1))
    return np.hypot(*differences)

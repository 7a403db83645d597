"""Colours of the pictures and of the page, and the scale that shows descent.

Descent runs from yellow (level) over green to blue (steep). The anchors were
chosen so that lightness falls all the way, for readers who do not tell the
hues apart and for grey prints, and because soil is none of these colours.
Equal angles are equally different to the eye: the anchors are joined in CIELAB
and the curve is stepped by CIEDE2000.
"""

from collections.abc import Sequence
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import PchipInterpolator
from skimage.color import deltaE_ciede2000, lab2rgb, rgb2lab

RGB = tuple[int, int, int]

INK: RGB = (38, 34, 30)
FADED_INK: RGB = (92, 84, 76)
PAPER: RGB = (250, 248, 243)
RULE: RGB = (205, 198, 186)
WHITE: RGB = (255, 255, 255)
DARK: RGB = (22, 18, 14)
LEVEL: RGB = (255, 239, 92)
"""The level end of the descent scale; sideways runs are this colour."""

VERDICT_COLOURS: dict[str, RGB] = {
    "open": (13, 104, 96),
    "slowed": (90, 107, 20),
    "turned": (156, 84, 0),
    "stopped": (158, 42, 43),
}
"""Each at least 4.5 : 1 against white and against ``PAPER``; the word always stands beside the colour."""

STEEPEST_DEG = 60.0
"""Descent at and beyond which the scale is at its blue end; corn roots steeper than this are rare."""

_ANCHORS = ("#FFEF5C", "#A8E05F", "#42C9A0", "#2FA3CF", "#6A8BF5")


def hex_of(colour: Sequence[int] | NDArray[np.uint8]) -> str:
    """An sRGB colour as ``#rrggbb``."""
    return "#{:02x}{:02x}{:02x}".format(*colour)


def verdict_tone(verdict: str) -> str:
    """The word of a verdict that its colour goes by: of "slowed or turned" the worse one; "" for none."""
    words = [word for word in VERDICT_COLOURS if word in verdict.split()]
    return words[-1] if words else ""


def verdict_colour(verdict: str) -> RGB:
    """Colour of a verdict."""
    return VERDICT_COLOURS.get(verdict_tone(verdict), FADED_INK)


def descent_colours(descent_deg: ArrayLike) -> NDArray[np.uint8]:
    """Colour of each descent angle, ``(N, 3)`` sRGB; level and rising roots share the yellow end."""
    table = descent_table()
    position = np.clip(np.asarray(descent_deg, dtype=float) / STEEPEST_DEG, 0.0, 1.0)
    return table[np.round(position * (len(table) - 1)).astype(int)]


@cache
def descent_table(steps: int = 121) -> NDArray[np.uint8]:
    """The descent scale from level to ``STEEPEST_DEG``, ``(steps, 3)`` sRGB."""
    anchors = [[int(code[k : k + 2], 16) / 255 for k in (1, 3, 5)] for code in _ANCHORS]
    lab = PchipInterpolator(np.arange(len(anchors)), rgb2lab(np.array([anchors]))[0])(
        np.linspace(0, len(anchors) - 1, 1000)
    )
    seen = np.concatenate([[0.0], np.cumsum(deltaE_ciede2000(lab[:-1], lab[1:]))])
    even = np.linspace(0.0, seen[-1], steps)
    stepped = np.column_stack([np.interp(even, seen, lab[:, channel]) for channel in range(3)])
    return np.round(255 * np.clip(lab2rgb(stepped[np.newaxis])[0], 0, 1)).astype(np.uint8)

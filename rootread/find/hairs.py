"""Hairs: a line is surer than its pixels are.

Where a root is narrower than two or three pixels each of them shows soil too, and may be
root by less than half, though the line that they make is one.
"""

import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.float32]

SURER_BY_WIDTH_PX, LESS = 2.4, 0.7
"""On made walls of training seeds the log odds that a root runs within 0.06 in of a pixel along the middle of
a line are the pixel's own and ``2.4 / w - 0.7`` more, ``w`` being half the line's width in pixels."""
HELD_BACK = 0.9
"""Of that so much is not given: lines side by side would run into each other. From 1.5 px on nothing is."""


def surer_by(half_width_px: Image) -> Image:
    """How much higher the log odds of a line count than those of its pixels, ``(m, n)``, 0 or more.

    ``half_width_px``, ``(m, n)``, is half the line's width in pixels.
    """
    more = np.divide(np.float32(SURER_BY_WIDTH_PX), half_width_px)
    more -= np.float32(LESS + HELD_BACK)
    return np.maximum(more, 0, out=more)

"""Roots of one wall look alike: how far each pixel's colour is that of the wall's roots as a whole.

Straw, wire and the edges of things have their own colour. Measured on made
walls of soils left out of training, how unlike the others a piece is tells
false roots from true ones as well as the network's own probability, and mostly
of other pieces.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.find.halfsize import HalfWall
from rootread.photo import to_lab
from rootread.threads import share_out

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

ALONG_PX = 4.0
"""Colours are averaged over so much of the root, at half resolution."""
ABOUT_PX = 41
"""And its tone compared with that of its surroundings so wide."""
LEAST_SPREAD = (1.0, 1.0, 0.1)
"""In CIE a*, b* and log luminance: spreads of roots are never taken below this."""
ODDS_A_SPREAD = 0.3
"""Log odds that each spread off the middle costs; fitted on made walls."""
LEAST_PX = 300
"""Of fewer root pixels no middle can be told."""


def likeness(half: HalfWall, on: Mask) -> Image:
    """Factor on the odds of being root, ``(m, n)`` 0 to 1; 1 is like the wall's other roots, and off them.

    Parameters
    ----------
    half : the wall at half resolution.
    on : ``(m, n)`` what is taken for root.
    """
    like = np.ones(on.shape, np.float32)
    if on.sum() < LEAST_PX:
        return like
    colour = to_lab(half.rgb[on][None])[0]
    relief = (half.tone - cv2.blur(half.tone, (ABOUT_PX, ABOUT_PX)))[on]

    def along(values: Image) -> Image:
        """Of values on the root, their sum over the root near each, by distance."""
        spread = np.zeros(on.shape, np.float32)
        spread[on] = values
        return cv2.GaussianBlur(spread, (0, 0), ALONG_PX)[on]

    sums = share_out(along, [np.ones_like(relief), colour[:, 1], colour[:, 2], relief])
    share = sums[0] + np.float32(1e-3)
    off = np.zeros(len(share), np.float32)
    for total, least in zip(sums[1:], LEAST_SPREAD, strict=True):
        mean = total / share
        middle = np.median(mean)
        off += ((mean - middle) / (np.median(np.abs(mean - middle)) + np.float32(least))) ** 2
    like[on] = np.exp(-ODDS_A_SPREAD * np.sqrt(off))
    return like

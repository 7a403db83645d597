"""Colours as an eye parts them: CIE L*, a*, b* of sRGB, in whole numbers from 0 to 255.

They are those of OpenCV's ``COLOR_RGB2LAB`` for each of the 16.8 million colours. OpenCV
makes tables for all its colour spaces when it is first asked for one of them, which takes as long as
all colours of a wall together.
"""

import numpy as np
from numpy.typing import NDArray

LIGHT_STEPS = 8
"""Steps of linear light between one whole number and the next."""
SHARES_BITS, ROOT_BITS = 12, 15
"""Fractional bits of the shares of red, green and blue, and of cubic roots."""
TO_XYZ = np.array(
    [[0.412453, 0.357580, 0.180423], [0.212671, 0.715160, 0.072169], [0.019334, 0.119193, 0.950227]]
)
WHITE = np.array([[0.950456], [1.0], [1.088754]])
"""Of daylight, D65."""
SHARES = np.rint(TO_XYZ / WHITE * 2**SHARES_BITS).astype(np.int64)
DARK = 216 / 24389
"""So dark, and darker, a straight line stands in for the cubic root."""
LIGHTNESS, OFFSET = (116 * 255 + 50) // 100, (16 * 255 * 2**ROOT_BITS + 50) // 100
GREEN_RED, BLUE_YELLOW, GREY = 500, 200, 128


def _linear() -> NDArray[np.int64]:
    """``(256,)`` linear light of each value of a channel."""
    value = np.arange(256) / 255
    light = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    return np.rint(255 * LIGHT_STEPS * light).astype(np.int64)


def _roots() -> NDArray[np.int64]:
    """Cubic root of every linear light."""
    light = np.arange(255 * LIGHT_STEPS + 1) / (255 * LIGHT_STEPS)
    root = np.where(light < DARK, light * (841 / 108) + 16 / 116, np.cbrt(light))
    # Two of them lie halfway in single precision alone.
    return np.rint(root.astype(np.float32) * 2**ROOT_BITS).astype(np.int64)


LINEAR, ROOTS = _linear(), _roots()


def lab_of(rgb: NDArray[np.uint8]) -> NDArray[np.int64]:
    """``(N, 3)`` L*, a*, b* of ``(N, 3)`` sRGB, L* stretched to 255 and the others about 128."""
    x, y, z = ROOTS[_whole(LINEAR[rgb] @ SHARES.T, SHARES_BITS)].T
    grey = GREY << ROOT_BITS
    parts = (LIGHTNESS * y - OFFSET, GREEN_RED * (x - y) + grey, BLUE_YELLOW * (y - z) + grey)
    return _whole(np.column_stack(parts), ROOT_BITS).clip(0, 255)


def _whole(value: NDArray[np.int64], bits: int) -> NDArray[np.int64]:
    """Rounded to whole numbers."""
    rounded: NDArray[np.int64] = (value + (1 << (bits - 1))) >> bits
    return rounded

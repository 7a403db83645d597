"""How grainy a picture is: the noise that a camera adds in the shade."""

import cv2
import numpy as np
from numpy.typing import NDArray

# Two second differences, across and down: nothing of a level or a slope is left, nor of an edge along either.
DIFFERENCE = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)
SPREAD = float(np.sqrt((DIFFERENCE**2).sum()))
"""How many times larger than the grain's the standard deviation of the difference is."""
MEDIAN_OF_NORMAL = 0.6745
"""Half of all normal deviates are smaller than so many standard deviations."""
EACH_PX = 4
"""Every fourth pixel each way tells as much."""


def grain_levels(rgb: NDArray[np.uint8]) -> float:
    """Standard deviation of the grain of ``(M, N, 3)`` sRGB, in grey levels of 255, green alone.

    Source: Immerkaer 1996, Fast noise variance estimation (Computer Vision and Image Understanding 64), from
    memory; with the median in place of the mean, so that roots and crumbs, which are few, do not count.
    """
    difference = cv2.filter2D(np.ascontiguousarray(rgb[..., 1]), cv2.CV_32F, DIFFERENCE)
    return float(np.median(np.abs(difference[::EACH_PX, ::EACH_PX]))) / (MEDIAN_OF_NORMAL * SPREAD)

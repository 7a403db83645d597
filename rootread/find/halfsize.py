"""The wall at half its resolution, in logarithms of light: enough for lines, at a quarter of the work."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.find.ridges import LUMINANCE
from rootread.photo import to_linear
from rootread.plane.types import WallImage

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

DARKEST = 0.003
"""Linear luminance below which a picture tells nothing."""


@dataclass(frozen=True, eq=False)
class HalfWall:
    """``(ceil(M/2), ceil(N/2))`` each."""

    rgb: NDArray[np.uint8]
    tone: Image
    """Logarithm of luminance: a change of light adds a constant."""
    soil: Mask
    px_per_in: float


def half_wall(image: WallImage) -> HalfWall:
    """A flat wall at half its resolution."""
    rows, columns = image.soil.shape
    size = ((columns + 1) // 2, (rows + 1) // 2)
    rgb = cv2.resize(image.rgb, size, interpolation=cv2.INTER_AREA)
    soil = cv2.resize(image.soil.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    tone = np.log(to_linear(rgb) @ LUMINANCE + np.float32(DARKEST))
    return HalfWall(rgb, tone, soil, image.grid.px_per_in / 2)

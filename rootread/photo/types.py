"""What the photo stage hands on: the picture upright, in sRGB, with what the camera said."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class Photo:
    """One photo, upright.

    All photo pixels anywhere in rootread (marks, plane, masks) are pixels of
    this upright picture: column and row, pixel centres at whole numbers, the
    centre of the top left pixel at (0, 0).
    """

    path: Path | None
    """The file it came from; None for a picture made in memory."""
    rgb: NDArray[np.uint8]
    """``(H, W, 3)`` sRGB."""
    camera: str | None = None
    """Maker and model."""
    focal_px: float | None = None
    """Focal length in pixels of this picture, from what the camera wrote; not calibrated."""
    subject_distance_in: float | None = None
    """Distance to the wall in inches, as the camera estimated it."""

    @property
    def size_px(self) -> tuple[int, int]:
        """Columns and rows."""
        return self.rgb.shape[1], self.rgb.shape[0]

"""Where what a photo shows of the wall ends: at its edge, the wall's side, the scale object."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from rootread.geometry import Points


@dataclass(frozen=True, eq=False)
class Shown:
    """The part of a flat wall that is shown, and its rim.

    Only few places are ever asked about, and the rim is short: a tree of its pixels answers
    at once, where a map of distances would be worked out for every pixel.
    """

    shown: NDArray[np.bool_]
    """``(M, N)``."""
    rim: cKDTree
    """Column and row of the pixels not shown, those around the picture among them, beside one that is."""

    def depth_px(self, points_px: Points) -> NDArray[np.float64]:
        """``(K,)`` px from each of ``(K, 2)`` places to where the shown part ends; 0 outside."""
        rows, columns = self.shown.shape
        column, row = np.round(points_px).astype(int).T
        column, row = column.clip(0, columns - 1), row.clip(0, rows - 1)
        away, _ = self.rim.query(np.column_stack([column, row]))
        depth: NDArray[np.float64] = np.where(self.shown[row, column], away, 0.0)
        return depth


def shown_part(shown: NDArray[np.bool_]) -> Shown:
    """The rim of an ``(M, N)`` mask of what is shown."""
    padded = np.pad(shown, 1).view(np.uint8)
    # The hidden pixel nearest to a shown one has a shown one at its side, or that would be nearer.
    cross = cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3))
    rim = cv2.dilate(padded, cross) > padded
    row, column = np.divmod(np.flatnonzero(rim), padded.shape[1])
    return Shown(shown, cKDTree(np.column_stack([column - 1, row - 1])))

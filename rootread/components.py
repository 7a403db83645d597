"""Connected pieces of a mask: which pixels each holds, and how far it reaches.

Only the pixels of the mask are listed: of a wall they are few, and what is asked of
the pieces then costs little beside one pass over the picture.
"""

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Components:
    """The pieces of an ``(M, N)`` mask; arrays over pieces have ``C`` entries, one for each."""

    shape: tuple[int, int]
    at: NDArray[np.int64]
    """``(K,)`` places of the mask's pixels in the flattened picture, row after row."""
    of: NDArray[np.int32]
    """``(K,)`` the piece of each, 0 to C - 1."""
    count: int

    @cached_property
    def px(self) -> NDArray[np.int64]:
        """``(C,)`` pixels of each piece."""
        return np.bincount(self.of, minlength=self.count)

    def px_in(self, other: Mask) -> NDArray[np.int64]:
        """``(C,)`` pixels of each piece that lie in another ``(M, N)`` mask."""
        return np.bincount(self.of[other.ravel()[self.at]], minlength=self.count)

    @cached_property
    def rows(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """``(C,)`` the first and the last row of each piece."""
        first, last = np.zeros((2, self.count), dtype=np.int64)
        row = self.at // self.shape[1]
        # Pixels stand row after row, so that the first of a piece is in its first row; later ones overwrite.
        first[self.of[::-1]] = row[::-1]
        last[self.of] = row
        return first, last

    @cached_property
    def reach_px(self) -> NDArray[np.float64]:
        """``(C,)`` diagonal of the box around each piece."""
        top, bottom = self.rows
        column = self.at % self.shape[1]
        left, right = np.full(self.count, self.shape[1]), np.zeros(self.count, dtype=np.int64)
        np.minimum.at(left, self.of, column)
        np.maximum.at(right, self.of, column)
        reach: NDArray[np.float64] = np.hypot(right - left + 1, bottom - top + 1)
        return reach

    def mask(self, keep: Mask) -> Mask:
        """``(M, N)`` the pixels of those pieces that ``keep``, ``(C,)``, names."""
        found = np.zeros(self.shape, dtype=bool)
        found.ravel()[self.at[keep[self.of]]] = True
        return found


def components(mask: Mask, connectivity: int = 8) -> Components:
    """The pieces of an ``(M, N)`` mask whose pixels touch along sides (4) or at corners too (8)."""
    rows, columns = mask.shape
    at = np.flatnonzero(mask)
    if len(at) == 0:
        return Components((rows, columns), at, np.zeros(0, dtype=np.int32), 0)
    # Rows above and below all pieces are left out; OpenCV works two at a time, from an even one on.
    top, bottom = int(at[0]) // columns // 2 * 2, int(at[-1]) // columns + 1
    count, piece = cv2.connectedComponents(mask[top:bottom].astype(np.uint8), connectivity=connectivity)
    return Components((rows, columns), at, piece.ravel()[at - top * columns] - 1, count - 1)


def lasting_pieces(evidence: NDArray[np.float32], low: float, high: float, min_length_px: float) -> Mask:
    """``(M, N)`` pieces above ``low`` that hold enough pixels above ``high`` and are long enough."""
    pieces = components(evidence > low)
    sure_px = pieces.px_in(evidence > high)
    return pieces.mask((pieces.reach_px > min_length_px) & (sure_px > 0.5 * min_length_px))

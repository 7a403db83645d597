"""Dark lines in the photo, of which there is one where two roots touch and in every crack.

Only the ways between ends of roots are ever asked about, a tenth of a wall or so: a tile of it is
worked out when it is first asked for.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.threads import share_out

LINE_SIGMA_PX = 1.2
"""Blur before the second derivatives: about the half width of a dark line between roots."""
TILE_ROWS, TILE_COLUMNS = 128, 256
AROUND_ROWS, AROUND_COLUMNS = 8, 16
"""So many pixels about one, and more, tell its strength: as far as the blur and a derivative reach. Columns
are worked sixteen at a time or fewer: from multiples of that on each is worked as in the whole picture."""


class DarkLines:
    """How much darker than its two sides each pixel of a wall is, a share; asked for by rows and columns."""

    def __init__(self, rgb: NDArray[np.uint8], hidden: NDArray[np.bool_]) -> None:
        self._rgb, self._hidden = rgb, hidden
        self._strength = np.zeros(hidden.shape, np.float32)
        rows, columns = hidden.shape
        self._known = np.zeros((-(-rows // TILE_ROWS), -(-columns // TILE_COLUMNS)), dtype=bool)

    @property
    def shape(self) -> tuple[int, ...]:
        """Rows and columns."""
        return self._strength.shape

    def __getitem__(self, place: tuple[NDArray[np.int64], NDArray[np.int64]]) -> NDArray[np.float32]:
        """``(...)`` at as many rows and columns of the flat wall, none of them negative."""
        row, column = place
        asked = np.zeros_like(self._known)
        asked[row // TILE_ROWS, column // TILE_COLUMNS] = True
        fresh = np.argwhere(asked & ~self._known)
        share_out(self._work_out, fresh.tolist())
        self._known |= asked
        return self._strength[row, column]

    def _work_out(self, tile: list[int]) -> None:
        top, left = tile[0] * TILE_ROWS, tile[1] * TILE_COLUMNS
        own = np.s_[top : top + TILE_ROWS, left : left + TILE_COLUMNS]
        first_row, first_column = max(top - AROUND_ROWS, 0), max(left - AROUND_COLUMNS, 0)
        around = np.s_[
            first_row : top + TILE_ROWS + AROUND_ROWS, first_column : left + TILE_COLUMNS + AROUND_COLUMNS
        ]
        strength = dark_line_strength(self._rgb[around])[top - first_row :, left - first_column :]
        shown = ~self._hidden[own]
        self._strength[own] = np.where(shown, strength[: shown.shape[0], : shown.shape[1]], 0)


def dark_line_strength(rgb: NDArray[np.uint8]) -> NDArray[np.float32]:
    """``(M, N)`` how much darker than its two sides each pixel is, as a share of its brightness.

    A dark line is a place where brightness curves up across it: the larger eigenvalue of the Hessian of log
    brightness times sigma squared (scale-normalised, so that it does not depend on the blur chosen).
    """
    light = np.log(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY).astype(np.float32) + 10.0)
    blurred = cv2.GaussianBlur(light, (0, 0), LINE_SIGMA_PX)
    # Sobel's second-derivative masks of size 3 sum to 4 times the derivative.
    d_xx = cv2.Sobel(blurred, cv2.CV_32F, 2, 0, ksize=3)
    d_yy = cv2.Sobel(blurred, cv2.CV_32F, 0, 2, ksize=3)
    d_xy = cv2.Sobel(blurred, cv2.CV_32F, 1, 1, ksize=3)
    root = np.sqrt((0.5 * (d_xx - d_yy)) ** 2 + d_xy**2)
    return LINE_SIGMA_PX**2 / 4 * (0.5 * (d_xx + d_yy) + root)

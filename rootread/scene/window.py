"""The stretch of wall that is painted, as a pixel grid in the wall plane."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rootread.geometry import Points


@dataclass(frozen=True)
class Window:
    """A grid of square pixels; the centre of pixel (row 0, column 0) lies at ``x0_in, z0_in``."""

    x0_in: float
    z0_in: float
    px_per_in: float
    rows: int
    cols: int

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.rows, self.cols

    def to_px(self, points_in: ArrayLike) -> Points:
        """``(N, 2)`` wall inches to column and row."""
        points = np.asarray(points_in, dtype=float).reshape(-1, 2)
        return (points - [self.x0_in, self.z0_in]) * self.px_per_in

    def sees(self, x_in: float, z_in: float, reach_in: float) -> bool:
        """Whether something of that reach around a point touches the window."""
        col, row = (x_in - self.x0_in) * self.px_per_in, (z_in - self.z0_in) * self.px_per_in
        reach = reach_in * self.px_per_in
        return -reach < col < self.cols + reach and -reach < row < self.rows + reach

    def line_rows(self, line: Points) -> NDArray[np.float32]:
        """``(cols,)`` row of a line given as ``(N, 2)`` x, z, at each column."""
        x = self.x0_in + np.arange(self.cols) / self.px_per_in
        z = np.interp(x, line[:, 0], line[:, 1])
        return ((z - self.z0_in) * self.px_per_in).astype(np.float32)

"""What the find stage hands on: which pixels of the flat wall are root."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points
from rootread.plane.types import Grid
from rootread.units import length_words


@dataclass(frozen=True, eq=False)
class RootMap:
    """Root pixels of one wall, on the wall image's grid."""

    probability: NDArray[np.float32]
    """``(M, N)`` 0 to 1, that the pixel shows a root."""
    mask: NDArray[np.bool_]
    """``(M, N)`` pixels taken as root."""
    grid: Grid
    cautions: tuple[str, ...] = ()
    """What a person should know of it; none states a length."""
    direction_rad: NDArray[np.float32] | None = None
    """``(ceil(M/2), ceil(N/2))`` direction of the root there, columns to rows, -pi/2 to pi/2, where the
    finder knows it."""
    half_width_px: NDArray[np.float32] | None = None
    """``(ceil(M/2), ceil(N/2))`` half the width of the root there in pixels of the grid, likewise."""
    crack: NDArray[np.bool_] | None = None
    """``(M, N)`` cracks and channels in the face; never root pixels, even of roots that follow one.
    None where they were not looked for."""
    painted: NDArray[np.bool_] | None = None
    """``(M, N)`` pixels that a person's strokes say are root; None without strokes."""
    floor_in: float | None = None
    """Depth of the pit floor's edge, where it is seen with things lying on it; nothing is read below."""

    @property
    def told(self) -> tuple[str, ...]:
        """The cautions, and where the wall ends, in the unit shown."""
        if self.floor_in is None:
            return self.cautions
        depth = length_words(self.floor_in)
        end = f"The photographed wall ends at what looks like a pit floor, {depth} down"
        return (*self.cautions, f"{end}: what lies below it is not read.")

    @property
    def cracks_in(self) -> Points | None:
        """``(K, 2)`` wall inches of one in four crack pixels; None where cracks were not looked for."""
        if self.crack is None:
            return None
        row, column = np.nonzero(self.crack[::2, ::2])
        return self.grid.to_in(np.column_stack([column, row]) * 2.0)

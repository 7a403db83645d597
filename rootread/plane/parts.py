"""Parts of a photo that are looked at by themselves, for bars too short to stand out of all of it.

A bar is found as a pair of lines across the photo. Where the photo's edge cuts off most of a staff or
a tape, or clods cover it, the soil along its line weighs more than it does; in a part of the photo it weighs
less.
"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from rootread.plane.bars import Bar, find_bars

Part = tuple[float, float, float, float]
"""Left, top, right and bottom, as shares of the photo's width and height."""

# Staffs and tapes stand at the sides; one that is cut at its end shows in the upper or the lower half.
PARTS: tuple[Part, ...] = (
    (0.0, 0.0, 0.3, 1.0),
    (0.7, 0.0, 1.0, 1.0),
    (0.0, 0.0, 1.0, 0.5),
    (0.0, 0.5, 1.0, 1.0),
    (0.0, 0.25, 1.0, 0.75),
)


def bars_in_parts(rgb: NDArray[np.uint8]) -> Iterator[list[Bar]]:
    """The bars of each part in turn, in the photo's pixels."""
    for part in PARTS:
        piece, begin_px = _cut_out(rgb, part)
        yield [bar.moved(begin_px) for bar in find_bars(piece)]


def _cut_out(rgb: NDArray[np.uint8], part: Part) -> tuple[NDArray[np.uint8], NDArray[np.float64]]:
    """The part, and where in the photo it begins."""
    rows, columns = rgb.shape[:2]
    left, top, right, bottom = (
        round(share * size) for share, size in zip(part, (columns, rows, columns, rows), strict=True)
    )
    return np.ascontiguousarray(rgb[top:bottom, left:right]), np.array([left, top], dtype=float)

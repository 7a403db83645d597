"""Pieces that hang on nothing, deep in the wall: straw on the pit floor, cracks, scratches.

Roots come down from their crowns. What lies far below them, with no root
anywhere near, is none as a rule: of 59 such pieces on 140 made walls 53 lay on no root.
"""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points, resample_polyline
from rootread.plane.types import Surface

APART_IN = 3.0
"""Pieces nearer to each other than this may hang together: roots are lost under soil for an inch or two."""
DEEP_IN = 12.0
"""What hangs together counts as roots where it reaches as high as this below the surface."""
STEP_IN, CELL_IN = 0.5, 0.1
"""Lines are looked at in steps so long, and distances are taken on a grid so fine."""


def strays(
    lines_in: Sequence[Points], surface: Surface, painted: Sequence[bool] | None = None
) -> NDArray[np.bool_]:
    """``(R,)`` which of some ``(N, 2)`` lines hang on nothing; none if nothing is near the surface.

    What a person painted as root, ``(R,)`` ``painted``, is held, and so is what hangs on it.
    """
    if not lines_in:
        return np.zeros(0, dtype=bool)
    group = _groups(lines_in)
    top_in = np.array([(line[:, 1] - np.interp(line[:, 0], *surface.line_in.T)).min() for line in lines_in])
    is_high = top_in < DEEP_IN
    if not is_high.any():
        return np.zeros(len(lines_in), dtype=bool)
    is_held = is_high if painted is None else is_high | np.array(painted)
    return ~np.isin(group, group[is_held])


def _groups(lines_in: Sequence[Points]) -> NDArray[np.int32]:
    """``(R,)`` the number of the group that each line hangs together with.

    Two places are no farther apart than ``APART_IN`` where discs of half that about them overlap.
    """
    steps = [resample_polyline(line, STEP_IN)[0] for line in lines_in]
    points = np.concatenate(steps)
    column, row = np.round((points - points.min(axis=0) + APART_IN) / CELL_IN).astype(int).T
    margin = round(APART_IN / CELL_IN)
    is_bare = np.ones((row.max() + margin, column.max() + margin), np.uint8)
    is_bare[row, column] = 0
    away_in = CELL_IN * cv2.distanceTransform(is_bare, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    _, piece = cv2.connectedComponents((away_in <= 0.5 * APART_IN).view(np.uint8))
    first = np.cumsum([0, *(len(line) for line in steps[:-1])])
    numbers: NDArray[np.int32] = piece[row[first], column[first]]
    return numbers

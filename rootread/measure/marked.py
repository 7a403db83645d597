"""Stretches that look squeezed flat and that a person found round: their word against the widths."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from rootread.follow.marked import STRUCK_NEAR_IN, STRUCK_SHARE
from rootread.follow.types import Trace
from rootread.geometry import Points, arc_length, resample_polyline
from rootread.marks import Marks
from rootread.plane.types import WallPlane


def lines_not_flattened(marks: Marks | None, plane: WallPlane) -> list[Points]:
    """The marked lines along stretches that are not flattened, in wall inches."""
    return [plane.to_wall_in(np.array(line)) for line in (marks.not_flattened_px if marks else ())]


def not_flattened(even: Trace, lines_in: Sequence[Points], step_in: float) -> NDArray[np.bool_]:
    """``(N,)`` True where a centreline goes along a marked line; one that only crosses it is not meant."""
    here = np.zeros(len(even.points), dtype=bool)
    for line in lines_in:
        beside = cKDTree(resample_polyline(line, step_in)[0]).query(even.points)[0] < STRUCK_NEAR_IN
        if beside.sum() * step_in >= STRUCK_SHARE * arc_length(line)[-1]:
            here |= beside
    return here

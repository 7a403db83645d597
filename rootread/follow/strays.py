"""Pieces that hang on nothing, deep in the wall: straw on the pit floor, cracks, scratches.

Roots come down from their crowns. What lies far below them, with no root
anywhere near, is none as a rule: of 59 such pieces on 140 made walls 53 lay on no root.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from rootread.geometry import Points, resample_polyline
from rootread.plane.types import Surface

APART_IN = 3.0
"""Pieces nearer to each other than this may hang together: roots are lost under soil for an inch or two."""
DEEP_IN = 12.0
"""What hangs together counts as roots where it reaches as high as this below the surface."""
STEP_IN = 0.5
"""Lines are looked at in steps so long."""


def strays(
    lines_in: Sequence[Points], surface: Surface, painted: Sequence[bool] | None = None
) -> NDArray[np.bool_]:
    """``(R,)`` which of some ``(N, 2)`` lines hang on nothing; none if nothing is near the surface.

    What a person painted as root, ``(R,)`` ``painted``, is held, and so is what hangs on it.
    """
    if not lines_in:
        return np.zeros(0, dtype=bool)
    steps = [resample_polyline(line, STEP_IN)[0] for line in lines_in]
    of_line = np.repeat(np.arange(len(steps)), [len(line) for line in steps])
    one, other = of_line[cKDTree(np.concatenate(steps)).query_pairs(APART_IN, output_type="ndarray").T]
    near = coo_array((np.ones(len(one)), (one, other)), shape=(len(steps), len(steps)))
    _, group = connected_components(near, directed=False)
    top_in = np.array([(line[:, 1] - np.interp(line[:, 0], *surface.line_in.T)).min() for line in lines_in])
    is_high = top_in < DEEP_IN
    if not is_high.any():
        return np.zeros(len(lines_in), dtype=bool)
    is_held = is_high if painted is None else is_high | np.array(painted)
    return ~np.isin(group, group[is_held])

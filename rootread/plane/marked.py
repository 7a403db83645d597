"""Whether what a person marked on the photo can be on the wall that the scale makes of it."""

from collections.abc import Callable

import numpy as np

from rootread.errors import BadMarks
from rootread.geometry import Points, arc_length
from rootread.marks import Marks
from rootread.marks.sense import marked_places
from rootread.plane.reach import local_px_per_in
from rootread.units import length_words

# Seen smaller than this share of the scale, a place is on the wall's horizon or beyond.
LEAST_SCALE_SHARE = 0.02
# No root is longer than 150 in; it would take gigabytes to measure one.
LONGEST_ROOT_IN = 150.0


def check_marked_places(marks: Marks | None, to_in: Callable[[Points], Points], px_per_in: float) -> None:
    """Refuse marks on what is no wall, and roots that no wall has.

    Parameters
    ----------
    marks : what a person drew; None for nothing.
    to_in : from photo pixels to inches of the wall.
    px_per_in : the scale.

    Raises
    ------
    BadMarks : a place lies beyond the wall's horizon, or a root drawn is too long.
    """
    if marks is None:
        return
    for where, line in marked_places(marks):
        places_px = np.array(line, dtype=float).reshape(-1, 2)
        if np.any(local_px_per_in(to_in, places_px) < LEAST_SCALE_SHARE * px_per_in):
            raise BadMarks(
                f"{where} lies where the photo shows no wall: it is seen too far from square there.",
                "Check the scale, or draw it again nearer to the middle of the photo.",
            )
    for number, root in enumerate(marks.roots_added):
        length_in = float(arc_length(to_in(np.array(root.points_px)))[-1])
        if length_in > LONGEST_ROOT_IN:
            raise BadMarks(
                f"roots_added[{number}] would be {length_words(length_in, 0)} long on this wall.",
                "Check the scale, or draw each root as a line of its own.",
            )

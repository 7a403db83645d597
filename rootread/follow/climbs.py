"""Roots grow down: a course that goes down and climbs again is of two roots, taken for one where they meet.

Two roots of one crown meet at their bases, two roots that cross meet midway. A root itself climbs for an
inch or two at most, wherever its base is: of some 9,000 made traces, half of them of twisted roots, 15
climbed farther, and 14 of these joined two.
"""

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from rootread.follow.encounters import FEWEST_POINTS, Course

HIGHEST_IN = 2.0
"""No root climbs higher."""


def parted_at_climbs(courses: Sequence[Course]) -> list[Course]:
    """Courses of roots of which none climbs, the rest as they are."""
    return [part for course in courses for part in _parts(course)]


def _parts(course: Course) -> Iterator[Course]:
    z = course.line_in[:, 1]
    onward, back = _climb(z), _climb(z[::-1])
    # Its base may be at either end: the one from which it climbs less.
    climbs_in, bottom, top = min(onward, (back[0], len(z) - 1 - back[1], len(z) - 1 - back[2]))
    if climbs_in <= HIGHEST_IN:
        yield course
        return
    places = sorted({0, bottom, top, len(z) - 1})
    for start, end in pairwise(places):
        part = course.before(end + 1).after(start)
        if len(part.line_in) >= FEWEST_POINTS and not part.inferred.all():
            yield from _parts(part)


def _climb(z_in: NDArray[np.float64]) -> tuple[float, int, int]:
    """Inches that a line climbs at most as it is walked; where it is lowest before, and highest after."""
    climbed = np.maximum.accumulate(z_in) - z_in
    top = int(np.argmax(climbed))
    return float(climbed[top]), int(np.argmax(z_in[: top + 1])), top

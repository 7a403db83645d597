"""Roots grow down: a course that goes far down and then far up has gone over from one root to another.

Two roots of one crown meet at their bases, two roots that cross meet midway. Near such a turn the course
was bridged, or another root touches it, and there it is parted. A root that is seen through its turn, and
alone, stays whole, whichever way it is turned: there was no other that it could have been taken for.
"""

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from rootread.follow.encounters import FEWEST_POINTS, NEAR_IN, Course

FARTHEST_IN = 2.0
"""No root goes down so far and then up so far: of 25,900 made ones, 8,300 of them twisted, none does; five
of the twisted ones do so for 1.5 in, one for 1.96."""


def parted_at_climbs(courses: Sequence[Course]) -> list[Course]:
    """Courses parted where they went over to another root to climb, the rest as they are."""
    climbing = {number for number, course in enumerate(courses) if turns(course.line_in[:, 1])}
    touched = _touched(courses, climbing)
    found: list[Course] = []
    for number, course in enumerate(courses):
        found += _parts(course, course.inferred | touched[number]) if number in climbing else [course]
    return found


def turns(z_in: NDArray[np.float64]) -> list[int]:
    """Places where a line turns back that went over ``FARTHEST_IN`` down and goes so far up, or up and down.

    Each is the deepest or the highest place between a stretch that goes one
    way by so much and the next that goes the other; wiggles of less are of
    the stretch they lie on.

    Parameters
    ----------
    z_in : ``(N,)`` depth along the line, inches.
    """
    falls_in = (z_in - np.minimum.accumulate(z_in)).max()
    climbs_in = (np.maximum.accumulate(z_in) - z_in).max()
    if min(falls_in, climbs_in) <= FARTHEST_IN:  # As of nearly every root.
        return []
    found: list[int] = []
    way = ""
    deepest = highest = 0
    for place, z in enumerate(z_in.tolist()):
        deepest = place if z > z_in[deepest] else deepest
        highest = place if z < z_in[highest] else highest
        if way != "up" and z_in[deepest] - z > FARTHEST_IN:
            found += [deepest] if way == "down" else []
            way, highest = "up", place
        elif way != "down" and z - z_in[highest] > FARTHEST_IN:
            found += [highest] if way == "up" else []
            way, deepest = "down", place
    return found


def _touched(courses: Sequence[Course], asked: set[int]) -> dict[int, NDArray[np.bool_]]:
    """Of each course that is asked about, ``(N,)`` where another touches it."""
    if not asked:
        return {}
    every = cKDTree(np.concatenate([course.line_in for course in courses]))
    owner = np.repeat(np.arange(len(courses)), [len(course.line_in) for course in courses])
    touched = {}
    for number in asked:
        near = every.query_ball_point(courses[number].line_in, NEAR_IN)
        touched[number] = np.array([(owner[places] != number).any() for places in near])
    return touched


def _parts(course: Course, doubtful: NDArray[np.bool_]) -> Iterator[Course]:
    """What lies between the places where a course went over to another root."""
    z_in = course.line_in[:, 1]
    places = [_went_over(z_in, turn, doubtful) for turn in turns(z_in)]
    start = 0
    for end in sorted({place for place in places if place is not None} | {len(z_in) - 1}):
        part = course.before(end + 1).after(start)
        if len(part.line_in) >= FEWEST_POINTS and not part.inferred.all():
            yield part
        start = end


def _went_over(z_in: NDArray[np.float64], turn: int, doubtful: NDArray[np.bool_]) -> int | None:
    """Where a course likely went over to another root at a turn; None where it is seen, and alone.

    No root climbs by ``FARTHEST_IN``, so that it was on one side of the turn or
    the other, before the line is so far above or below it. Of the doubtful
    places there it is the one nearest in height: it leaves least of a climb.
    """
    away_in = np.abs(z_in - z_in[turn])
    far = np.flatnonzero(away_in > FARTHEST_IN)
    begin, end = far[far < turn].max() + 1, far[far > turn].min()
    places = begin + np.flatnonzero(doubtful[begin:end])
    return int(places[away_in[places].argmin()]) if len(places) else None

"""Places where two followed roots come near each other, and may have been taken for each other.

Where two roots touch, cross or run along each other, the flow may have taken
the one's course for the other's; where a root is lost for a while, it may have
made two of one; where two run as one, it may have followed one of them alone.
Every such *encounter* has four *limbs*: the head and the tail of the first
root, and those of the second, some of them missing. *Links* between heads and
tails say which limbs go on as each other.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import compress, pairwise, product

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from rootread.geometry import Points

NEAR_IN = 0.2
"""Roots whose middles are this near touch or nearly do."""
PARTED_IN = 0.25
"""Roots that part for no longer than this still run along each other."""
FEWEST_POINTS = 3
"""A course, or a limb of one, of fewer goes nowhere."""
GAP_IN = 2.0
"""A root may be lost for so long between two ends."""
LOST_BESIDE_IN = 0.5
"""An end this near to a root may go on as that root, from there on."""
LOOKED_AT_IN = 0.05
"""Places this far from each other along a course are looked at for others near by."""


LINKS = ((0, 1), (2, 3), (0, 3), (2, 1))
"""Which limbs may go on as each other, of head, tail, other head, other tail: first those of one course,
as roots are, then head and tail of different ones."""


def _plans() -> tuple[tuple[bool, ...], ...]:
    """All sets of links without one whose two limbs have others: the first is how the roots are."""
    found = []
    for plan in product((True, False), repeat=len(LINKS)):
        links = list(compress(LINKS, plan))
        used = [limb for limbs in links for limb in limbs]
        if all(used.count(head) == 1 or used.count(tail) == 1 for head, tail in links):
            found.append(plan)
    return tuple(sorted(found, key=lambda plan: plan != (True, True, False, False)))


PLANS = _plans()


@dataclass(frozen=True, eq=False)
class Course:
    """The centreline of one followed root, at even steps."""

    line_in: Points
    """``(N, 2)`` x and z."""
    width_in: NDArray[np.float64]
    inferred: NDArray[np.bool_]
    """``(N,)`` True where it was bridged or led along another, as of a trace."""

    def turned(self) -> "Course":
        """The same from its other end."""
        return Course(self.line_in[::-1], self.width_in[::-1], self.inferred[::-1])

    def before(self, until: int) -> "Course":
        """Its first points."""
        return Course(self.line_in[:until], self.width_in[:until], self.inferred[:until])

    def after(self, onward: int) -> "Course":
        """Its points from one on."""
        return Course(self.line_in[onward:], self.width_in[onward:], self.inferred[onward:])

    def unseen(self) -> "Course":
        """The same where another root hides it."""
        return Course(self.line_in, self.width_in, np.ones(len(self.line_in), dtype=bool))


@dataclass(frozen=True)
class Part:
    """Where a course is parted: its head is the points before ``until``, its tail those from ``onward``."""

    course: int
    until: int
    onward: int
    turned: bool = False
    """True where the course is walked from its other end."""


@dataclass(frozen=True)
class Encounter:
    """Two courses, each parted where they may have been taken for each other."""

    first: Part
    second: Part

    @property
    def courses(self) -> tuple[int, int]:
        """The two courses."""
        return self.first.course, self.second.course

    def longest_limbs(self, courses: list[Course]) -> tuple[int, int]:
        """Points of the longer head and of the longer tail."""
        parts = (self.first, self.second)
        tails = (len(courses[part.course].line_in) - part.onward for part in parts)
        return max(part.until for part in parts), max(tails)

    @property
    def is_gap(self) -> bool:
        """Whether the end of one root leads over to the beginning of another, and nothing else changes."""
        return self.first.until == self.first.onward and self.second.onward == 0


def possible_encounters(courses: list[Course], step_in: float) -> list[Encounter]:
    """All places where two courses touch, an end lies beside a course, or two ends are near each other."""
    if len(courses) < 2:
        return []
    touching = list(_touching(courses, step_in))
    return touching + list(_lost_beside(courses, touching)) + list(_facing(courses))


def _touching(courses: list[Course], step_in: float) -> Iterator[Encounter]:
    """Stretches along which two courses are near each other."""
    course = np.concatenate([np.full(len(c.line_in), k) for k, c in enumerate(courses)])
    place = np.concatenate([np.arange(len(c.line_in)) for c in courses])
    some = np.flatnonzero(place % max(round(LOOKED_AT_IN / step_in), 1) == 0)
    points = np.concatenate([c.line_in for c in courses])[some]
    pair = cKDTree(points).query_pairs(NEAR_IN, output_type="ndarray")
    first, second = some[pair.T]
    apart = course[first] != course[second]
    first, second = first[apart], second[apart]
    order = np.lexsort((place[first], course[second], course[first]))
    first, second = first[order], second[order]
    # A new stretch begins with another pair of courses, or where they have been parted for a while.
    new = (
        (np.diff(course[first], prepend=-1) != 0)
        | (np.diff(course[second], prepend=-1) != 0)
        | (np.diff(place[first], prepend=0) > PARTED_IN / step_in)
    )
    begins = [*np.flatnonzero(new).tolist(), len(first)]
    for a, b in pairwise(begins):
        one, other = place[first[a:b]], place[second[a:b]]
        yield Encounter(
            Part(int(course[first[a]]), int(one.min()), int(one.max()) + 1),
            Part(int(course[second[a]]), int(other.min()), int(other.max()) + 1),
        )


def _ends(courses: list[Course]) -> Points:
    """``(2 C, 2)`` first and last point of each course in turn."""
    return np.array([c.line_in[side] for c in courses for side in (0, -1)])


def _lost_beside(courses: list[Course], touching: list[Encounter]) -> Iterator[Encounter]:
    """Ends that lie a little aside of another course, which may be their root farther on."""
    points = np.concatenate([c.line_in for c in courses])
    course = np.concatenate([np.full(len(c.line_in), k) for k, c in enumerate(courses)])
    place = np.concatenate([np.arange(len(c.line_in)) for c in courses])
    ends = _ends(courses)
    touched = {encounter.courses for encounter in touching}
    for end, near in enumerate(cKDTree(points).query_ball_point(ends, LOST_BESIDE_IN)):
        at = np.array(near)
        away = np.hypot(*(points[at] - ends[end]).T)
        for other in np.unique(course[at]).tolist():
            if other == end // 2 or tuple(sorted((end // 2, other))) in touched:
                continue
            own = at[course[at] == other]
            nearest = int(place[own[away[course[at] == other].argmin()]])
            here = 0 if end % 2 == 0 else len(courses[end // 2].line_in)
            if 0 < nearest < len(courses[other].line_in) - 1:
                yield Encounter(Part(end // 2, here, here), Part(other, nearest, nearest + 1))


def _facing(courses: list[Course]) -> Iterator[Encounter]:
    """Ends of two courses that a gap parts."""
    ends = _ends(courses)
    for one, other in cKDTree(ends).query_pairs(GAP_IN, output_type="ndarray").tolist():
        if one // 2 == other // 2:
            continue
        # A tip comes before a base, so that courses keep their way where they can.
        if one % 2 == 0 and other % 2 == 1:
            one, other = other, one
        count = len(courses[one // 2].line_in)
        yield Encounter(
            Part(one // 2, count, count, turned=one % 2 == 0),
            Part(other // 2, 0, 0, turned=other % 2 == 1),
        )

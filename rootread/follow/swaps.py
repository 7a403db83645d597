"""Places where two followed roots may have gone on as each other, and what it is to exchange them.

Where two roots touch, cross or run along each other, the flow may have taken
the one's course for the other's; where a root is lost for a while, it may have
made two of one. Every such place has four *limbs*: the head and the tail
of the first root, and those of the second, some of them empty. A *swap* hangs
the second tail on the first head, and the first tail on the second head.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from rootread.follow.centreline import least_energy_curve
from rootread.geometry import Points, arc_length, resample_polyline

NEAR_IN = 0.2
"""Roots whose middles are this near touch or nearly do."""
PARTED_IN = 0.25
"""Roots that part for no longer than this still run along each other."""
GAP_IN = 2.0
"""A root may be lost for so long between two ends."""
LOST_BESIDE_IN = 0.5
"""An end this near to a root may go on as that root, from there on."""
OVER_IN = 0.1
"""A root goes over into another's course from so far before to so far behind the middle of the touch."""
LOOKED_AT_IN = 0.05
"""Places this far from each other along a course are looked at for others near by."""


@dataclass(frozen=True, eq=False)
class Course:
    """The centreline of one followed root, at even steps."""

    line_in: Points
    """``(N, 2)`` x and z."""
    width_in: NDArray[np.float64]
    inferred: NDArray[np.bool_]
    """``(N,)`` True where a gap was bridged."""

    def turned(self) -> "Course":
        """The same from its other end."""
        return Course(self.line_in[::-1], self.width_in[::-1], self.inferred[::-1])


@dataclass(frozen=True)
class Part:
    """Where a course is parted: its head is the points before ``until``, its tail those from ``onward``."""

    course: int
    until: int
    onward: int
    turned: bool = False
    """True where the course is walked from its other end."""


@dataclass(frozen=True)
class Swap:
    """Two courses, each parted where they may have been taken for each other."""

    first: Part
    second: Part

    @property
    def courses(self) -> tuple[int, int]:
        """The two courses."""
        return self.first.course, self.second.course

    @property
    def is_gap(self) -> bool:
        """Whether the end of one root leads over to the beginning of another, and nothing else changes."""
        return self.first.until == self.first.onward and self.second.onward == 0


def possible_swaps(courses: list[Course], step_in: float) -> list[Swap]:
    """All places where two courses touch, an end lies beside a course, or two ends are near each other."""
    if len(courses) < 2:
        return []
    touching = list(_touching(courses, step_in))
    return touching + list(_lost_beside(courses, touching)) + list(_facing(courses))


def _touching(courses: list[Course], step_in: float) -> Iterator[Swap]:
    """Stretches along which two courses are near each other."""
    course = np.concatenate([np.full(len(c.line_in), k) for k, c in enumerate(courses)])
    place = np.concatenate([np.arange(len(c.line_in)) for c in courses])
    some = np.flatnonzero(place % max(round(LOOKED_AT_IN / step_in), 1) == 0)
    points = np.concatenate([c.line_in for c in courses])[some]
    pair = cKDTree(points).query_pairs(NEAR_IN, output_type="ndarray")
    pair.sort(axis=1)
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
        yield Swap(
            Part(int(course[first[a]]), int(one.min()), int(one.max()) + 1),
            Part(int(course[second[a]]), int(other.min()), int(other.max()) + 1),
        )


def _ends(courses: list[Course]) -> Points:
    """``(2 C, 2)`` first and last point of each course in turn."""
    return np.array([c.line_in[side] for c in courses for side in (0, -1)])


def _lost_beside(courses: list[Course], touching: list[Swap]) -> Iterator[Swap]:
    """Ends that lie a little aside of another course, which may be their root farther on."""
    points = np.concatenate([c.line_in for c in courses])
    course = np.concatenate([np.full(len(c.line_in), k) for k, c in enumerate(courses)])
    place = np.concatenate([np.arange(len(c.line_in)) for c in courses])
    ends = _ends(courses)
    touched = {(s.first.course, s.second.course) for s in touching}
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
                yield Swap(Part(end // 2, here, here), Part(other, nearest, nearest + 1))


def _facing(courses: list[Course]) -> Iterator[Swap]:
    """Ends of two courses that a gap parts."""
    ends = _ends(courses)
    for one, other in cKDTree(ends).query_pairs(GAP_IN, output_type="ndarray").tolist():
        if one // 2 == other // 2:
            continue
        # A tip comes before a base, so that courses keep their way where they can.
        if one % 2 == 0 and other % 2 == 1:
            one, other = other, one
        count = len(courses[one // 2].line_in)
        yield Swap(
            Part(one // 2, count, count, turned=one % 2 == 0),
            Part(other // 2, 0, 0, turned=other % 2 == 1),
        )


def swapped(swap: Swap, courses: list[Course], step_in: float) -> list[Course]:
    """The two roots of a swap, or the one, when it is done."""
    first, second = (
        courses[part.course].turned() if part.turned else courses[part.course]
        for part in (swap.first, swap.second)
    )
    here, there = _middles(swap, first, second)
    found = (
        _led_over(first, here[0], second, there[1], swap.is_gap, step_in),
        _led_over(second, there[0], first, here[1], False, step_in),
    )
    return [course for course in found if course is not None]


def _middles(swap: Swap, first: Course, second: Course) -> tuple[tuple[int, int], tuple[int, int]]:
    """For both roots where the head ends and the tail begins: in the middle of where they touch."""
    one, other = swap.first, swap.second
    if swap.is_gap:
        return (one.until, one.onward), (other.until, other.onward)
    if one.until == one.onward:
        # An end that lies beside the other root.
        return (one.until, one.onward), (other.until, other.until)
    middle = (one.until + one.onward) // 2
    place = first.line_in[min(middle, len(first.line_in) - 1)]
    away = np.hypot(*(second.line_in[other.until : other.onward] - place).T)
    nearest = other.until + int(away.argmin())
    return (middle, middle), (nearest, nearest)


def _led_over(
    one: Course, until: int, other: Course, onward: int, is_gap: bool, step_in: float
) -> Course | None:
    """The head of one root, led over into the tail of the other; what there is of them."""
    head, tail = _piece(one, slice(0, until)), _piece(other, slice(onward, None))
    if head is None or tail is None:
        return tail if head is None else head
    apart_in = float(np.hypot(*(tail.line_in[0] - head.line_in[-1])))
    if not is_gap:
        # Roots lie side by side here: the farther, the longer it takes to go over.
        trimmed = round(max(OVER_IN, apart_in) / step_in)
        head = _piece(head, slice(0, max(len(head.line_in) - trimmed, 2)))
        tail = _piece(tail, slice(min(trimmed, len(tail.line_in) - 2), None))
    assert head is not None and tail is not None
    bridge = least_energy_curve(head.line_in, tail.line_in, step_in)
    line = np.concatenate([head.line_in, bridge, tail.line_in])
    width = np.concatenate(
        [head.width_in, np.linspace(head.width_in[-1], tail.width_in[0], len(bridge)), tail.width_in]
    )
    unseen = np.full(len(bridge), is_gap or apart_in > NEAR_IN)
    inferred = np.concatenate([head.inferred, unseen, tail.inferred])
    even, at = resample_polyline(line, step_in)
    along = arc_length(line)
    nearest = np.searchsorted(along, at).clip(0, len(along) - 1)
    return Course(even, np.interp(at, along, width), inferred[nearest])


def _piece(course: Course, along: slice) -> Course | None:
    """Part of a course; none where that is too short to lead anywhere."""
    if len(course.line_in[along]) < 2:
        return None
    return Course(course.line_in[along], course.width_in[along], course.inferred[along])

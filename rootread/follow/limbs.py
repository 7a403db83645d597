"""What is known of the limbs of an encounter: how wide, of what colour, which way, how far they run."""

import math
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.follow.encounters import FEWEST_POINTS, Course, Encounter
from rootread.geometry import Points
from rootread.median import median_of
from rootread.plane.types import Grid

SHORT_IN, MIDDLE_IN, LONG_IN = 0.5, 1.0, 2.5
"""Lengths of a limb over which it is looked at."""
COLOUR_BLUR_PX = 1.0
THINNEST_IN = 0.005
"""A limb of no width has no logarithm."""
LONGEST_IN = 6.0
"""Limbs longer than this count as so long."""
TURN_STEP_IN = 0.1
"""Turns are taken from stretches this long."""
LEAST_LIMB_IN = 0.3
"""It is worth a look only where so much of a root changes hands."""
MOST_BEND_DEG = 95.0
"""Roots turn sharply at layers, but where they go on as another they do not go back."""
FAR_IN, MOST_ASKEW_DEG = 0.3, 90.0
"""Limbs farther apart than this look toward each other, if they are of one root."""
WIDEST_RATIO = 3.0
"""One root is no more than so many times as wide before as after."""


Vector = tuple[float, float]


@dataclass(frozen=True, eq=False)
class Limb:
    """Part of a course, seen from where it was parted: its nearest point is its first."""

    line_in: Points
    """``(N, 2)`` x and z."""
    widths_in: NDArray[np.float64]
    inferred: NDArray[np.bool_]
    lab: NDArray[np.float64]
    """``(N, 3)`` colour."""
    step_in: float

    @property
    def length_in(self) -> float:
        """Along it."""
        return len(self.line_in) * self.step_in

    @cached_property
    def width_in(self) -> tuple[float, float]:
        """Median over ``MIDDLE_IN`` and over ``LONG_IN``."""
        near, far = self._near_far
        return _median_width(self.widths_in[near]), _median_width(self.widths_in[far])

    @cached_property
    def far_width_in(self) -> float:
        """Median over the last ``SHORT_IN``."""
        return _median_width(self.widths_in[-self._count(SHORT_IN) :])

    @cached_property
    def colour(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Mean over ``MIDDLE_IN`` and over ``LONG_IN``."""
        near, far = self._near_far
        return self.lab[near].mean(axis=0), self.lab[far].mean(axis=0)

    @cached_property
    def way(self) -> tuple[Vector, Vector, Vector]:
        """Unit vectors along it, over ``SHORT_IN``, ``MIDDLE_IN`` and ``LONG_IN``."""
        return self._way(SHORT_IN), self._way(MIDDLE_IN), self._way(LONG_IN)

    @cached_property
    def bends(self) -> tuple[float, float]:
        """Radians an inch that it turns over ``MIDDLE_IN``, and how much its turns of 0.1 in vary."""
        points = self.line_in[: self._count(MIDDLE_IN) : max(round(TURN_STEP_IN / self.step_in), 1)]
        if len(points) < 3:
            return 0.0, 0.0
        heading = np.arctan2(*np.diff(points, axis=0).T[::-1])
        if np.abs(np.diff(heading)).max() >= np.pi:  # It seldom is, and to unwrap takes long.
            heading = np.unwrap(heading)
        return float(heading[-1] - heading[0]) / min(MIDDLE_IN, self.length_in), float(
            np.std(np.diff(heading))
        )

    @property
    def share_inferred(self) -> float:
        """Of the first ``MIDDLE_IN``."""
        near = self.inferred[: self._count(MIDDLE_IN)]
        return np.count_nonzero(near) / len(near)

    @cached_property
    def facts(self) -> list[float]:
        """Length and logarithms of its widths, inches; how much is bridged; how steep it is; its bends."""
        return [
            min(self.length_in, LONGEST_IN),
            float(np.log(self.width_in[0])),
            float(np.log(self.far_width_in)),
            self.share_inferred,
            float(self.way[1][1]),
            *self.bends,
        ]

    def _count(self, reach_in: float) -> int:
        return max(round(reach_in / self.step_in), 2)

    @cached_property
    def _near_far(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Which of the first points show; all of them, if none does."""
        counts = self._count(MIDDLE_IN), self._count(LONG_IN)
        far = np.flatnonzero(~self.inferred[: counts[1]])
        near = far[: np.searchsorted(far, counts[0])]
        near, far = (
            shown if len(shown) else np.arange(min(count, len(self.line_in)))
            for shown, count in zip((near, far), counts, strict=True)
        )
        return near, far

    @cached_property
    def place_in(self) -> Vector:
        """Its nearest point."""
        x, z = self.line_in[0].tolist()
        return x, z

    def _way(self, reach_in: float) -> Vector:
        x, z = self.line_in[min(self._count(reach_in), len(self.line_in)) - 1].tolist()
        x, z = x - self.place_in[0], z - self.place_in[1]
        length = max(math.hypot(x, z), 1e-9)
        return x / length, z / length


Limbs = tuple[Limb | None, Limb | None, Limb | None, Limb | None]
"""Head and tail of the first, head and tail of the second."""


KnownLimbs = dict[tuple[int, int, int], Limb]
"""By course, their first point on it, and the step from point to point, 1 or -1."""


def limbs(
    encounter: Encounter,
    courses: list[Course],
    colours: list[NDArray[np.float64]],
    step_in: float,
    known: KnownLimbs | None = None,
) -> Limbs:
    """The four limbs of an encounter.

    ``known`` are those of other encounters of the same courses, of which some are the same; new ones are
    put there too.
    """
    known = {} if known is None else known
    found: list[Limb | None] = []
    for part in (encounter.first, encounter.second):
        course, lab = courses[part.course], colours[part.course]
        count = len(course.line_in)
        for first, step in ((part.until - 1, -1), (part.onward, 1)):
            if part.turned:
                first, step = count - 1 - first, -step
            if (count - first if step > 0 else first + 1) < FEWEST_POINTS:
                found.append(None)
                continue
            place = part.course, first, step
            if place not in known:
                along = slice(first, None, step)
                known[place] = Limb(
                    course.line_in[along], course.width_in[along], course.inferred[along], lab[along], step_in
                )
            found.append(known[place])
    return found[0], found[1], found[2], found[3]


def softened(rgb: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """A picture without its noise, to take colours from."""
    soft: NDArray[np.uint8] = cv2.GaussianBlur(rgb, (0, 0), COLOUR_BLUR_PX)
    return soft


def course_colours(course: Course, soft_rgb: NDArray[np.uint8], grid: Grid) -> NDArray[np.float64]:
    """``(N, 3)`` Lab at the points of a course."""
    height, width = soft_rgb.shape[:2]
    column, row = np.round(grid.to_px(course.line_in)).astype(int).T
    rgb = soft_rgb[row.clip(0, height - 1), column.clip(0, width - 1)]
    lab: NDArray[np.float64] = cv2.cvtColor(rgb[None], cv2.COLOR_RGB2LAB)[0].astype(float)
    return lab


def _median_width(widths_in: NDArray[np.float64]) -> float:
    return max(median_of(widths_in), THINNEST_IN)


def may_regroup(four: Limbs) -> bool:
    """Whether it is worth a look: some limb goes on as one of the other root without going back."""
    head, tail, other_head, other_tail = four
    long = [limb is not None and limb.length_in >= LEAST_LIMB_IN for limb in four]
    if not ((long[0] or long[2]) and (long[1] or long[3])):
        return False
    return _may_go_on(head, other_tail) or _may_go_on(other_head, tail)


def _may_go_on(one: Limb | None, other: Limb | None) -> bool:
    if one is None or other is None:
        return False
    if min(angle_deg(against(one.way[k]), other.way[k]) for k in (0, 1)) > MOST_BEND_DEG:
        return False
    way_over = over(one, other)
    if math.hypot(*way_over) > FAR_IN:
        ahead = min(angle_deg(against(way), way_over) for way in one.way[:2])
        if max(ahead, min(angle_deg(way, way_over) for way in other.way[:2])) > MOST_ASKEW_DEG:
            return False
    return abs(math.log(one.width_in[0] / other.width_in[0])) <= math.log(WIDEST_RATIO)


def over(one: Limb, other: Limb) -> Vector:
    """From where one limb was parted to where the other was."""
    return other.place_in[0] - one.place_in[0], other.place_in[1] - one.place_in[1]


def against(way: Vector) -> Vector:
    """The opposite way."""
    return -way[0], -way[1]


def angle_deg(one: Vector, other: Vector) -> float:
    """Between two vectors, 0 to 180."""
    return math.degrees(abs(math.atan2(cross(one, other), one[0] * other[0] + one[1] * other[1])))


def cross(one: Vector, other: Vector) -> float:
    """What lies across the first vector of the second."""
    return one[0] * other[1] - one[1] * other[0]

"""What is known of the limbs of a encounter: how wide, of what colour, which way, how far they run."""

import math
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.follow.encounters import FEWEST_POINTS, Course, Encounter
from rootread.geometry import Points
from rootread.plane.types import Grid, Surface

SHORT_IN, MIDDLE_IN, LONG_IN = 0.5, 1.0, 2.5
"""Lengths of a limb over which it is looked at."""
COLOUR_BLUR_PX = 1.0
THINNEST_IN = 0.005
TURN_STEP_IN = 0.1


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
        near, far = (self._shown(reach) for reach in (MIDDLE_IN, LONG_IN))
        return _median_width(self.widths_in[near]), _median_width(self.widths_in[far])

    @cached_property
    def far_width_in(self) -> float:
        """Median over the last ``SHORT_IN``."""
        return _median_width(self.widths_in[-self._count(SHORT_IN) :])

    @cached_property
    def colour(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Mean over ``MIDDLE_IN`` and over ``LONG_IN``."""
        near, far = (self._shown(reach) for reach in (MIDDLE_IN, LONG_IN))
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
        heading = np.unwrap(np.arctan2(*np.diff(points, axis=0).T[::-1]))
        return float(heading[-1] - heading[0]) / min(MIDDLE_IN, self.length_in), float(
            np.std(np.diff(heading))
        )

    @property
    def share_inferred(self) -> float:
        """Of the first ``MIDDLE_IN``."""
        return float(self.inferred[: self._count(MIDDLE_IN)].mean())

    def _count(self, reach_in: float) -> int:
        return max(round(reach_in / self.step_in), 2)

    def _shown(self, reach_in: float) -> NDArray[np.int64]:
        """Which of the first points show; all of them, if none does."""
        shown = np.flatnonzero(~self.inferred[: self._count(reach_in)])
        return shown if len(shown) else np.arange(min(self._count(reach_in), len(self.line_in)))

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


def limbs(
    encounter: Encounter, courses: list[Course], colours: list[NDArray[np.float64]], step_in: float
) -> Limbs:
    """The four limbs of a encounter."""
    found: list[Limb | None] = []
    for part in (encounter.first, encounter.second):
        course, lab = courses[part.course], colours[part.course]
        if part.turned:
            course, lab = course.turned(), lab[::-1]
        for along in (slice(part.until - 1, None, -1) if part.until else slice(0), slice(part.onward, None)):
            line = course.line_in[along]
            found.append(
                Limb(line, course.width_in[along], course.inferred[along], lab[along], step_in)
                if len(line) >= FEWEST_POINTS
                else None
            )
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
    return max(float(np.median(widths_in)), THINNEST_IN)


LEAST_REACH_IN = 1.28
MARGIN_IN = 0.7
LIMB_FACTS = 9
PAIR_FACTS = 13
PLACE_FACTS = 9
FACTS = PLACE_FACTS + 4 * LIMB_FACTS + 4 * PAIR_FACTS
"""Numbers known of each encounter."""


def encounter_facts(
    encounter: Encounter, four: Limbs, step_in: float, surface: Surface
) -> NDArray[np.float32]:
    """``(97,)`` what is known of a encounter besides its picture; 0 of limbs that are not there.

    First of the encounter, then of each limb, then of how well each of these goes on as each other: as it was
    followed (heads with their own tails), and as it would be.
    """
    head, tail, other_head, other_tail = four
    counts = [p.onward - p.until for p in (encounter.first, encounter.second)]
    whole = [
        encounter.is_gap,
        encounter.first.turned + encounter.second.turned,
        counts[0] * step_in,
        counts[1] * step_in,
        picture_reach_in(four),
        *[limb is not None for limb in four],
    ]
    of_limbs = [fact for limb in four for fact in _limb_facts(limb, surface)]
    pairs = ((head, tail), (other_head, other_tail), (head, other_tail), (other_head, tail))
    of_pairs = [fact for one, other in pairs for fact in _pair_facts(one, other)]
    return np.array([*whole, *of_limbs, *of_pairs], dtype=np.float32)


def picture_reach_in(four: Limbs) -> float:
    """Half the length of an encounter's picture: over an inch, more where limbs lie far apart."""
    near = np.array([limb.line_in[0] for limb in four if limb is not None])
    apart_in = float(np.hypot(*np.ptp(near, axis=0)))
    return max(LEAST_REACH_IN, apart_in / 2 + MARGIN_IN)


def _limb_facts(limb: Limb | None, surface: Surface) -> list[float]:
    if limb is None:
        return [0.0] * LIMB_FACTS
    near, far = limb.line_in[0], limb.line_in[-1]
    near_depth, far_depth = (float(p[1] - np.interp(p[0], *surface.line_in.T)) for p in (near, far))
    return [
        min(limb.length_in, 6.0),
        float(np.log(limb.width_in[0])),
        float(np.log(limb.far_width_in)),
        limb.share_inferred,
        float(limb.way[1][1]),
        *limb.bends,
        near_depth,
        far_depth,
    ]


def _pair_facts(one: Limb | None, other: Limb | None) -> list[float]:
    """How well two limbs go on as each other; one comes to the place, the other leaves it."""
    if one is None or other is None:
        return [0.0] * PAIR_FACTS
    over = _over(one, other)
    distance = math.hypot(*over)
    # Limbs lead away from where they were parted, so that the way into the place is against the limb's.
    bends = [_angle_deg(_against(a), b) for a, b in zip(one.way, other.way, strict=True)]
    is_apart = distance > 0.02
    askew = (
        [_angle_deg(_against(one.way[1]), over), _angle_deg(over, other.way[1])] if is_apart else [0.0, 0.0]
    )
    aside = [abs(_cross(way, over)) for way in (one.way[1], other.way[1])]
    light, green_red, blue_yellow = (one.colour[0] - other.colour[0]).tolist()
    return [
        distance,
        *bends,
        *askew,
        *aside,
        abs(math.log(one.width_in[0] / other.width_in[0])),
        math.log(one.width_in[1] / other.width_in[1]),
        math.hypot(green_red, blue_yellow),
        abs(light),
        math.dist(one.colour[1].tolist(), other.colour[1].tolist()),
    ]


MOST_BEND_DEG = 95.0
MOST_ASKEW_DEG = 90.0
FAR_IN = 0.3
"""Ends farther apart than this look at each other, if they are of one root."""
WIDEST_RATIO = 3.0
LEAST_LIMB_IN = 0.3


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
    if min(_angle_deg(_against(one.way[k]), other.way[k]) for k in (0, 1)) > MOST_BEND_DEG:
        return False
    over = _over(one, other)
    if math.hypot(*over) > FAR_IN:
        ahead = min(_angle_deg(_against(way), over) for way in one.way[:2])
        if max(ahead, min(_angle_deg(way, over) for way in other.way[:2])) > MOST_ASKEW_DEG:
            return False
    return abs(math.log(one.width_in[0] / other.width_in[0])) <= math.log(WIDEST_RATIO)


def _over(one: Limb, other: Limb) -> Vector:
    return other.place_in[0] - one.place_in[0], other.place_in[1] - one.place_in[1]


def _against(way: Vector) -> Vector:
    return -way[0], -way[1]


def _angle_deg(one: Vector, other: Vector) -> float:
    return math.degrees(abs(math.atan2(_cross(one, other), one[0] * other[0] + one[1] * other[1])))


def _cross(one: Vector, other: Vector) -> float:
    return one[0] * other[1] - one[1] * other[0]

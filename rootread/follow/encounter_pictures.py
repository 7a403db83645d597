"""Pictures of where two roots come near each other: what an eye would look at.

The way of both roots lies from left to right. To the photo's colours and the
chance of root come, drawn as lines, the four limbs, all other courses, and how
each root was followed between its head and its tail.
"""

from dataclasses import dataclass
from itertools import accumulate, chain, islice, pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.follow.encounter_facts import picture_reach_in
from rootread.follow.encounters import Course, Encounter, Part
from rootread.follow.limbs import Limbs
from rootread.geometry import Points
from rootread.plane.types import Grid

ACROSS, LENGTH = 96, 192
CHANNELS = 11
"""Red, green, blue, probability of one and the same root; head and tail of the first and of the second root;
all other courses; what lies between head and tail of the first and of the second. Each 0 to 255."""
MIDDLE_PX = np.array([(LENGTH - 1) / 2, (ACROSS - 1) / 2])
SUBPIXEL_BITS = 4
PIECE_POINTS = 24
"""Points of a piece of a course: two thirds of an inch at 72 px an inch."""


@dataclass(frozen=True, eq=False)
class Frame:
    """What part of the wall a picture shows, and how it is turned."""

    middle_in: Points
    axes: NDArray[np.float64]
    """``(2, 2)`` unit vectors along the picture and across it."""
    reach_in: float
    """Half its length."""

    @classmethod
    def of(cls, four: Limbs) -> "Frame":
        """About the beginnings of an encounter's limbs, the way of both roots along it."""
        way = _way(four)
        return cls(_middle(four), np.array([way, [-way[1], way[0]]]), picture_reach_in(four))

    @property
    def px_per_in(self) -> float:
        """Scale of the picture."""
        return LENGTH / 2 / self.reach_in

    def to_wall(self, picture_px: Points) -> Points:
        """``(N, 2)`` places in the picture, column and row, on the wall."""
        return self.middle_in + (picture_px - MIDDLE_PX) / self.px_per_in @ self.axes

    def to_picture(self, line_in: Points) -> Points:
        """``(N, 2)`` places on the wall in the picture."""
        return (line_in - self.middle_in) @ self.axes.T * self.px_per_in + MIDDLE_PX


@dataclass(frozen=True, eq=False)
class Pieces:
    """All courses in short pieces, of which a picture shows few."""

    lines_in: list[Points]
    of_course: NDArray[np.int64]
    """``(P,)`` the course of each."""
    least_in: Points
    most_in: Points
    """``(P, 2)`` least and largest x and z of each."""

    @classmethod
    def of(cls, courses: list[Course]) -> "Pieces":
        """Of whole courses; each piece begins with the last point of the one before it."""
        cut = [
            (number, course.line_in[first : first + PIECE_POINTS + 1])
            for number, course in enumerate(courses)
            for first in range(0, len(course.line_in) - 1, PIECE_POINTS)
        ]
        lines_in = [line for _, line in cut]
        return cls(
            lines_in,
            np.array([number for number, _ in cut]),
            np.array([line.min(axis=0) for line in lines_in]),
            np.array([line.max(axis=0) for line in lines_in]),
        )

    def others(self, courses: tuple[int, int], frame: Frame) -> list[Points]:
        """Pieces that a frame may show, but for those of two courses."""
        reach_in = frame.reach_in * float(np.hypot(1, ACROSS / LENGTH))
        near = (self.least_in < frame.middle_in + reach_in) & (self.most_in > frame.middle_in - reach_in)
        shown = near.all(axis=1) & (self.of_course != courses[0]) & (self.of_course != courses[1])
        return [self.lines_in[piece] for piece in np.flatnonzero(shown).tolist()]


def draw_encounter(
    picture: NDArray[np.uint8],
    encounter: Encounter,
    four: Limbs,
    courses: list[Course],
    pieces: Pieces,
    layers: NDArray[np.uint8],
    grid: Grid,
    step_in: float,
) -> None:
    """The picture of an encounter, drawn into one of ``(11, 96, 192)`` that is still all 0.

    ``layers`` are those strips are cut from, ``pieces`` those of all courses.
    """
    frame = Frame.of(four)
    # From the picture to the wall and on to the grid.
    corners = np.array([[0.0, 0.0], [LENGTH - 1, 0.0], [0.0, ACROSS - 1]])
    on_grid = grid.to_px(frame.to_wall(corners))
    to_grid = cv2.getAffineTransform(corners.astype(np.float32), on_grid.astype(np.float32))
    seen = cv2.warpAffine(
        layers,
        to_grid,
        (LENGTH, ACROSS),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT,
    )
    cv2.split(seen, list(picture[:4]))
    most = _most_points(frame.reach_in, step_in)
    lines_in = [
        *([limb.line_in[:most]] if limb is not None else [] for limb in four),
        pieces.others(encounter.courses, frame),
        *([_between(part, courses)] for part in (encounter.first, encounter.second)),
    ]
    _draw(picture[4:], frame, lines_in)


def _between(part: Part, courses: list[Course]) -> Points:
    """What a course was between its head and its tail, with a point of each."""
    course = courses[part.course]
    line_in = course.line_in[::-1] if part.turned else course.line_in
    return line_in[max(part.until - 1, 0) : part.onward + 1]


def _most_points(reach_in: float, step_in: float) -> int:
    """No limb winds so much that more of it is in the picture."""
    return round(4 * reach_in / step_in)


def _middle(four: Limbs) -> Points:
    middle: Points = np.mean([limb.line_in[0] for limb in four if limb is not None], axis=0)
    return middle


def _way(four: Limbs) -> Points:
    """The way of both roots over the place: out of heads and into tails."""
    head, tail, other_head, other_tail = four
    way = sum(
        (
            sign * np.array(limb.way[1])
            for sign, limb in ((-1, head), (1, tail), (-1, other_head), (1, other_tail))
            if limb
        ),
        np.zeros(2),
    )
    length = float(np.hypot(*way))
    unit: Points = way / length if length > 1e-6 else np.array([1.0, 0.0])
    return unit


def _draw(channels: NDArray[np.uint8], frame: Frame, lines_in: list[list[Points]]) -> None:
    """Some lines into each channel."""
    # All on their way to pixels at once: there are many, most of them short.
    every = list(chain.from_iterable(lines_in))
    px = frame.to_picture(np.concatenate(every))
    places = np.round(px * 2**SUBPIXEL_BITS).clip(-(2**15), 2**15).astype(np.int32)
    lines = (places[begin:end] for begin, end in pairwise(accumulate(map(len, every), initial=0)))
    for channel, own in zip(channels, lines_in, strict=True):
        if own:
            drawn = list(islice(lines, len(own)))
            cv2.polylines(channel, drawn, False, 255, 1, cv2.LINE_AA, SUBPIXEL_BITS)

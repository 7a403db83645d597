"""Pictures of where two roots come near each other: what an eye would look at.

The way of both roots lies from left to right. To the photo's colours and the
chance of root come the four limbs and all other courses, drawn as lines.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.follow.encounter_facts import picture_reach_in
from rootread.follow.encounters import Course, Encounter
from rootread.follow.limbs import Limbs
from rootread.geometry import Points
from rootread.plane.types import Grid

ACROSS, LENGTH = 56, 128
CHANNELS = 9
"""Red, green, blue, probability of one and the same root; head and tail of the first and of the second root;
all other courses. Each 0 to 255."""
MIDDLE_PX = np.array([(LENGTH - 1) / 2, (ACROSS - 1) / 2])
SUBPIXEL_BITS = 4


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


def encounter_picture(
    encounter: Encounter,
    four: Limbs,
    courses: list[Course],
    boxes: NDArray[np.float64],
    layers: NDArray[np.uint8],
    grid: Grid,
    step_in: float,
) -> NDArray[np.uint8]:
    """``(9, 56, 128)`` the picture of an encounter.

    ``layers`` are those strips are cut from, ``boxes`` ``(C, 4)`` least and largest x and z of each course.
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
    picture = np.zeros((CHANNELS, ACROSS, LENGTH), np.uint8)
    picture[:4] = seen.transpose(2, 0, 1)
    for channel, limb in enumerate(four, start=4):
        if limb is not None:
            near_line_in = limb.line_in[: _most_points(frame.reach_in, step_in)]
            _draw(picture[channel], frame.to_picture(near_line_in))
    corner_reach = frame.reach_in * float(np.hypot(1, ACROSS / LENGTH))
    begins = boxes[:, :2] < frame.middle_in + corner_reach
    ends = boxes[:, 2:] > frame.middle_in - corner_reach
    for number in np.flatnonzero((begins & ends).all(axis=1)).tolist():
        if number not in encounter.courses:
            _draw(picture[8], frame.to_picture(courses[number].line_in))
    return picture


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


def _draw(channel: NDArray[np.uint8], line: Points) -> None:
    places = np.round(line * 2**SUBPIXEL_BITS).clip(-(2**15), 2**15).astype(np.int32)
    cv2.polylines(channel, [places], False, 255, 1, cv2.LINE_AA, SUBPIXEL_BITS)

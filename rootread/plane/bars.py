"""Straight bars in a photo: two long, nearly parallel edges of opposite polarity.

A staff or a tape is a straight flat bar, whatever is printed on it. Edge pixels
vote for the line they lie on (Hough, Duda and Hart 1972, from memory), in two
ballots by the side on which it is brighter; a bar is a line from each.
"""

import math
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points
from rootread.photo import to_lab
from rootread.plane.sightings import Floats
from rootread.threads import share_out

# Lines are sought on a picture with this many pixels on its long side.
SEARCH_PX = 800
ANGLE_STEP_DEG = 0.5
# An edge pixel's gradient is off its line's normal by a few degrees, for noise and texture.
SMEAR_DEG = 2.5
MAX_LINES = 60
MAX_BARS = 16
# Bars whose sides differ by less than this share of the width are one.
SAME_SIDE = 0.12
MAX_NEIGHBOURS = 6
MAX_CONVERGENCE_DEG = 3.0
# Bar widths sought, as a share of the photo's long side: 1/2 in in 60 to 3 in in 15.
WIDTH_SHARE = (0.006, 0.12)


@dataclass(frozen=True)
class Line:
    """Points with ``x cos(angle) + y sin(angle) = rho``; brighter on the side the normal points to."""

    angle: float
    rho: float
    votes: float

    def at(self, along: Floats) -> Points:
        """``(N, 2)`` points at signed distances from the point nearest the origin."""
        normal = np.array([np.cos(self.angle), np.sin(self.angle)])
        tangent = np.array([-normal[1], normal[0]])
        return self.rho * normal + np.asarray(along)[:, None] * tangent


@dataclass(frozen=True, eq=False)
class Bar:
    """A bar that crosses the photo: two points on each of its sides.

    Sides are in the photo's pixels; ``left[0]`` and ``right[0]`` face each
    other, as do ``left[1]`` and ``right[1]``.
    """

    left: Points
    right: Points
    strength: float

    @property
    def length_px(self) -> float:
        """From one end of the photo to the other."""
        return float(np.hypot(*(self.left[1] - self.left[0])))

    @cached_property
    def width_px(self) -> float:
        """Mean distance between the sides."""
        (x0, y0), (x1, y1) = (self.right - self.left).tolist()
        return (math.hypot(x0, y0) + math.hypot(x1, y1)) / 2.0

    def moved(self, by_px: Floats) -> "Bar":
        """The same bar in a photo of which this one's is a part that begins at ``by_px``."""
        return Bar(self.left + by_px, self.right + by_px, self.strength)


def find_bars(rgb: NDArray[np.uint8]) -> list[Bar]:
    """Every pair of lines that may be the two sides of a bar, strongest first."""
    shrink = min(1.0, SEARCH_PX / max(rgb.shape[:2]))
    small = cv2.resize(rgb, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA) if shrink < 1 else rgb
    size = np.array(small.shape[1::-1], dtype=float)
    bars = []
    for lines in share_out(_lines, _lightness_and_colour(small)):
        pairs = (_pair(lines[i], lines[j], size) for i, j in _facing(lines))
        bars += [bar for bar in pairs if bar is not None]
    bars.sort(key=lambda bar: -bar.strength)
    kept: list[Bar] = []
    for bar in bars:
        if len(kept) == MAX_BARS:
            break
        # The lines of one strong bar, a stalk say, pair up in many ways; others are to have their turn.
        neighbours = sum(_near(bar, other) for other in kept)
        if neighbours < MAX_NEIGHBOURS and not any(_same(bar, other) for other in kept):
            kept.append(bar)
    scale = np.array(rgb.shape[1::-1]) / size
    return [
        Bar((bar.left + 0.5) * scale - 0.5, (bar.right + 0.5) * scale - 0.5, bar.strength) for bar in kept
    ]


def _lightness_and_colour(small: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """Two pictures to find edges in: CIE lightness, and how far each pixel's colour is from the usual one.

    A yellow tape on pale soil differs in colour only.
    """
    light, *colour = cv2.split(to_lab(small))
    green_red, blue_yellow = (axis - np.median(axis) for axis in colour)
    return _in_bytes(2.55 * light), _in_bytes(4.0 * np.hypot(green_red, blue_yellow))


def _in_bytes(picture: NDArray[np.float32]) -> NDArray[np.uint8]:
    return np.clip(np.round(picture), 0, 255).astype(np.uint8)


def _near(bar: Bar, other: Bar) -> bool:
    """Whether the middles of two bars lie closer than the wider one's width."""
    between = (bar.left + bar.right - other.left - other.right).mean(axis=0) / 2.0
    return bool(np.hypot(*between) < max(bar.width_px, other.width_px))


def _same(bar: Bar, other: Bar) -> bool:
    """Whether two bars have the same sides to within what following the sides makes good."""
    near = SAME_SIDE * other.width_px
    return all(
        np.abs(_distance(side, line)).max() < near
        for side, line in ((bar.left, other.left), (bar.right, other.right))
    )


def _distance(side: Points, line: Points) -> Floats:
    """Distances of a side's inner places from the line through another side's ends."""
    way = (line[1] - line[0]) / np.hypot(*(line[1] - line[0]))
    inner = side[0] + np.array([[0.2], [0.8]]) * (side[1] - side[0])
    return (inner - line[0]) @ np.array([-way[1], way[0]])


def _lines(small: NDArray[np.uint8]) -> list[Line]:
    """The strongest lines of edge pixels."""
    smooth = cv2.GaussianBlur(small, (0, 0), 1.0).astype(np.float32)
    dx = cv2.Sobel(smooth, cv2.CV_32F, 1, 0)
    dy = cv2.Sobel(smooth, cv2.CV_32F, 0, 1)
    size = cv2.magnitude(dx, dy)
    # Of every second pixel each way, which tell the share as well.
    edge = size > np.percentile(size[::2, ::2], 80)
    rows, columns = (place.astype(np.float32) for place in np.nonzero(edge))
    # Every edge pixel has a vote, no more: a long faint edge counts for more than a short strong one.
    angle = np.degrees(np.arctan2(dy[edge], dx[edge]))
    angles = round(360 / ANGLE_STEP_DEG)
    reach = int(np.ceil(np.hypot(*small.shape)))
    theta = np.radians(np.arange(angles, dtype=np.float32) * ANGLE_STEP_DEG)
    cosine, sine = np.cos(theta), np.sin(theta)
    smear = round(SMEAR_DEG / ANGLE_STEP_DEG)
    nearest = np.rint(angle / ANGLE_STEP_DEG).astype(np.int32)
    cells = np.empty((2 * smear + 1, len(nearest)), np.int32)
    for turn, cell in enumerate(cells, -smear):
        at = (nearest + turn) % angles
        rho = np.rint(columns * cosine[at] + rows * sine[at]).astype(np.int32)
        cell[:] = at * (2 * reach + 1) + rho + reach
    ballots = np.bincount(cells.ravel(), minlength=angles * (2 * reach + 1)).reshape(angles, -1)
    # A line of texture collects votes everywhere; what stands out of its neighbourhood counts.
    votes = ballots.astype(np.float32)
    votes -= cv2.blur(votes, (31, 9), borderType=cv2.BORDER_REPLICATE)
    return _peaks(votes, reach)


def _peaks(votes: NDArray[np.float32], reach: int) -> list[Line]:
    """The highest places of the ballot, each with its surroundings taken out before the next is sought."""
    lines = []
    # Each angle's best is kept, so that a peak is found without going over the whole ballot again.
    best = votes.max(axis=1)
    for _ in range(MAX_LINES):
        row = int(best.argmax())
        column = int(votes[row].argmax())
        if votes[row, column] <= 0:
            break
        lines.append(Line(np.radians(row * ANGLE_STEP_DEG), float(column - reach), float(votes[row, column])))
        around = np.arange(row - 4, row + 5) % len(votes)
        votes[around, max(column - 3, 0) : column + 4] = -1
        best[around] = votes[around].max(axis=1)
    return lines


def _facing(lines: list[Line]) -> list[tuple[int, int]]:
    """Pairs of lines that are bright on opposite sides and nearly parallel."""
    angle = np.array([line.angle for line in lines])
    turn = np.abs(np.angle(np.exp(1j * (angle[:, None] - angle[None, :] + np.pi))))
    first, second = np.nonzero(np.triu(turn <= np.radians(MAX_CONVERGENCE_DEG), 1))
    return list(zip(first.tolist(), second.tolist(), strict=True))


def _pair(first: Line, second: Line, size: Floats) -> Bar | None:
    """The bar between two lines that face each other, if they are near enough."""
    axis = first.angle + np.pi / 2
    direction = np.array([np.cos(axis), np.sin(axis)])
    if direction[1] < 0 or (abs(direction[1]) < 0.38 and direction[0] < 0):
        direction = -direction
    across = np.array([-direction[1], direction[0]])
    ends = _inside(first, size)
    if ends is None:
        return None
    ends = ends[np.argsort(ends @ direction)]
    normal = np.array([np.cos(second.angle), np.sin(second.angle)])
    # Where the perpendicular from each end of the first side meets the second.
    facing = ends + across * ((second.rho - ends @ normal) / (across @ normal))[:, None]
    widths = (facing - ends) @ across
    wide = np.abs(widths).mean()
    if widths[0] * widths[1] <= 0 or not WIDTH_SHARE[0] <= wide / size.max() <= WIDTH_SHARE[1]:
        return None
    strength = min(first.votes, second.votes)
    # With the axis downward in the photo, the left side has the smaller column.
    if widths.mean() > 0:
        return Bar(facing, ends, strength)
    return Bar(ends, facing, strength)


def _inside(line: Line, size: Floats) -> Points | None:
    """Where a line enters and leaves the photo."""
    start, ahead = line.at(np.array([0.0, 1.0]))
    way = ahead - start
    low, high = -np.inf, np.inf
    for k in (0, 1):
        if abs(way[k]) < 1e-9:
            if not 0 <= start[k] <= size[k] - 1:
                return None
            continue
        ends = sorted([(0.0 - start[k]) / way[k], (size[k] - 1 - start[k]) / way[k]])
        low, high = max(low, ends[0]), min(high, ends[1])
    return line.at(np.array([low, high])) if high - low > 1.0 else None

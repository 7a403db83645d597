"""Where the soil surface is at all: every straight line that could be it, weighed by what lies about it.

Each candidate is described by a few figures: how sharp, green and like
the wall the strips above and below it are, how much they differ, and where it
lies. A conditional logit (McFadden 1974, from memory) turns them into chances,

    P(line) = exp(w . cues(line)) / sum over all lines,

so that a photo which leaves two places open says so. The weights were fitted
to made walls (see ``benchmarks/ground_lines.py``), none of them a benchmark wall.
"""

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points
from rootread.plane.background import CLUSTERS, GREEN_BELOW, GREEN_RANGE
from rootread.plane.sightings import Floats

Scalar = TypeVar("Scalar", bound=np.generic)

# The look's pixels are taken every so many: strips are inches wide, and hundreds of pixels remain in each.
EVERY = 3
PX_PER_IN = 4.0
SLOPES_DEG = np.arange(-8.0, 8.1, 2.0)
# The strips just above and below a line, and the wall's first inches below it: from and to, inches.
ABOVE_IN, BELOW_IN, WALL_IN = (-1.75, -0.25), (0.35, 1.85), (0.35, 6.0)
NEAR_ABOVE_IN, NEAR_BELOW_IN = (-0.75, 0.0), (0.25, 0.85)
# A staff or tape is long: its middle part alone is surely before the wall.
LONG = 3.0
MIDDLE = (0.2, 0.8)
# A card hangs below the surface; a staff may stand up above it by this part of its length.
ABOVE_SHARE = 0.35
LOGARITHM_UNIT = 0.7
CAP = 2.0
# Lines that hold this much of the chance are what the photo leaves open.
OPEN_CHANCE = 0.9
# Each cue and its weight.
CUES = {
    "sharper_below": -1.56,
    "sharp_above": -1.56,
    "green_above": 2.61,
    "green_below": -0.98,
    "wall_above": -1.64,
    "wall_below": 2.49,
    "differ": 8.98,
    "wall_over": -1.06,
    "sharp_wall": 9.56,
    "wall_wall": -2.98,
    "differ_near": -2.88,
    "slope": -0.37,
    "below_object_top": -3.40,
    "unseen_above": 23.94,
}
WEIGHTS = np.array(list(CUES.values()))


@dataclass(frozen=True, eq=False)
class FirstLine:
    """The likeliest straight line."""

    rows: Floats
    """``(N,)`` its row in each column of the look."""
    open_in: float
    """Lines up to this far from it are open: they hold nine tenths of the chance."""


def first_line(
    features: NDArray[np.float32],
    valid: NDArray[np.bool_],
    labels: NDArray[np.int64],
    objects_px: list[Points],
) -> FirstLine:
    """Weigh every straight line of a look, ``(M, N)`` pixels; objects are outlines in its pixels."""
    heights, slopes, cues = line_cues(features, valid, labels, objects_px)
    score = cues @ WEIGHTS
    chance = np.exp(score - score.max())
    chance = chance / chance.sum()
    best = int(chance.argmax())
    off_in = np.abs(heights - heights[best]) / PX_PER_IN
    order = np.argsort(off_in, kind="stable")
    held = int(np.searchsorted(np.cumsum(chance[order]), OPEN_CHANCE))
    columns = valid.shape[1]
    middle = (np.arange(columns) - columns / 2.0) * np.tan(np.radians(slopes[best]))
    return FirstLine(EVERY * heights[best] + middle, float(off_in[order[min(held, len(order) - 1)]]))


def line_cues(
    features: NDArray[np.float32],
    valid: NDArray[np.bool_],
    labels: NDArray[np.int64],
    objects_px: list[Points],
) -> tuple[Floats, Floats, Floats]:
    """Heights in coarse rows, slopes in degrees, and ``(L, len(CUES))`` cues of every line."""
    features = features[::EVERY, ::EVERY]
    valid, labels = valid[::EVERY, ::EVERY], labels[::EVERY, ::EVERY]
    rows = valid.shape[0]
    object_top, wall_rows = _object_rows([outline / EVERY for outline in objects_px], rows)
    maps = _clues(features, valid, labels, wall_rows)
    heights = np.arange(rows)
    cues = []
    for slope in SLOPES_DEG:
        seen, kind = _sheared(valid, slope), _sheared(labels, slope)
        sheared = [_sheared(clue, slope) for clue in maps]
        width = seen.sum(axis=1).astype(float)
        counts = np.zeros((rows, CLUSTERS))
        np.add.at(counts, (np.nonzero(seen)[0], kind[seen]), 1.0)
        sharp, green, wall = (_Strips((array * seen).sum(axis=1), width) for array in sheared)
        kinds = np.vstack([np.zeros(CLUSTERS), np.cumsum(counts, axis=0)])
        above_share = _Strips(width, np.full(rows, valid.shape[1])).mean(heights, ABOVE_IN)
        over = (-1e3, ABOVE_IN[1])
        cues.append(
            np.column_stack([
                sharp.mean(heights, BELOW_IN) - sharp.mean(heights, ABOVE_IN),
                sharp.mean(heights, ABOVE_IN),
                green.mean(heights, ABOVE_IN),
                green.mean(heights, BELOW_IN),
                wall.mean(heights, ABOVE_IN),
                wall.mean(heights, BELOW_IN),
                _difference(kinds, heights, ABOVE_IN, BELOW_IN),
                wall.mean(heights, over),
                sharp.mean(heights, WALL_IN),
                wall.mean(heights, WALL_IN),
                _difference(kinds, heights, NEAR_ABOVE_IN, NEAR_BELOW_IN),
                np.full(rows, (slope / 5.0) ** 2),
                np.clip((heights - object_top) / PX_PER_IN - 0.5, 0.0, 3.0),
                np.minimum(above_share, 0.5),
            ])
        )  # fmt: skip
    return np.tile(heights.astype(float), len(SLOPES_DEG)), np.repeat(SLOPES_DEG, rows), np.vstack(cues)


def _object_rows(objects_px: list[Points], rows: int) -> tuple[float, tuple[int, int]]:
    """Row that the surface is hardly below for the scale object's sake, and rows that are wall beside it."""
    if not objects_px:
        return float(rows), (int(0.45 * rows), int(0.9 * rows))
    outline = max(objects_px, key=lambda places: float(np.ptp(places[:, 1])))
    top, bottom = float(outline[:, 1].min()), float(outline[:, 1].max())
    tall = bottom - top
    if tall < LONG * float(np.ptp(outline[:, 0])):
        return top, (int(top), int(bottom) + 1)
    return top + ABOVE_SHARE * tall, (int(top + MIDDLE[0] * tall), int(top + MIDDLE[1] * tall) + 1)


def _clues(
    features: NDArray[np.float32], valid: NDArray[np.bool_], labels: NDArray[np.int64], rows: tuple[int, int]
) -> list[Floats]:
    """Pixel by pixel: sharper than the wall, green, and of a kind that the wall has."""
    beside = valid.copy()
    beside[: max(rows[0], 0)] = False
    beside[rows[1] :] = False
    if beside.sum() < 100:
        beside = valid
    wall = features[beside]
    texture = features[..., 3].astype(float)
    sharp = np.clip((texture - np.median(wall[:, 3])) / LOGARITHM_UNIT, -CAP, CAP)
    greenest = min(float(np.percentile(wall[:, 1], 5)), GREEN_BELOW)
    green = np.clip((greenest - features[..., 1].astype(np.float64)) / GREEN_RANGE, 0.0, 1.0)
    of_wall = np.bincount(labels[beside], minlength=CLUSTERS) / max(beside.sum(), 1) + 0.003
    of_all = np.bincount(labels[valid], minlength=CLUSTERS) / max(valid.sum(), 1) + 0.003
    return [sharp, green, np.clip(np.log(of_wall / of_all), -CAP, CAP)[labels]]


class _Strips:
    """Means over strips along all lines of one slope, from sums along each."""

    def __init__(self, sums: Floats, width: Floats) -> None:
        self._sums = np.concatenate([[0.0], np.cumsum(sums)])
        self._width = np.concatenate([[0.0], np.cumsum(width)])

    def mean(self, heights: NDArray[np.int64], strip_in: tuple[float, float]) -> Floats:
        """Mean over the strip at each height; 0 where nothing of it is seen."""
        start, end = _ends(heights, strip_in, len(self._sums) - 1)
        return np.asarray(
            (self._sums[end] - self._sums[start]) / np.maximum(self._width[end] - self._width[start], 1e-9)
        )


def _ends(
    heights: NDArray[np.int64], strip_in: tuple[float, float], rows: int
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    start, end = (np.round(edge * PX_PER_IN).astype(int) for edge in np.array(strip_in))
    return np.clip(heights + start, 0, rows), np.clip(heights + max(end, start + 1), 0, rows)


def _difference(
    kinds: Floats, heights: NDArray[np.int64], one_in: tuple[float, float], other_in: tuple[float, float]
) -> Floats:
    """Jensen-Shannon divergence of the kinds of pixels in two strips: 0 alike, log 2 nothing in common."""
    shares = []
    for strip_in in (one_in, other_in):
        start, end = _ends(heights, strip_in, len(kinds) - 1)
        count = kinds[end] - kinds[start] + 0.5 / CLUSTERS
        shares.append(count / count.sum(axis=1, keepdims=True))
    middle = 0.5 * (shares[0] + shares[1])
    return np.asarray(sum(0.5 * np.sum(share * np.log(share / middle), axis=1) for share in shares))


def _sheared(array: NDArray[Scalar], slope_deg: float) -> NDArray[Scalar]:
    """Columns moved up or down so that lines of this slope become level; what comes from outside is 0."""
    rows, columns = array.shape
    shift = np.round(np.tan(np.radians(slope_deg)) * (np.arange(columns) - columns / 2.0)).astype(int)
    at = np.arange(rows)[:, None] + shift[None, :]
    moved = np.take_along_axis(array, np.clip(at, 0, rows - 1), axis=0)
    moved[(at < 0) | (at >= rows)] = 0
    return moved

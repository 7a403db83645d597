"""Straightened pictures of joins: what an eye would look at to say whether one root runs on.

A strip follows one end's arm up to the join, the way over to the other end, and
that end's arm on from there, with the soil and roots on both sides. Where
one root runs along all of it, its edges, width, shade and colour run straight
through; where two roots were joined, they break.
"""

from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.follow.centreline import cubic
from rootread.follow.ends import Ends
from rootread.follow.joins import Joins
from rootread.follow.types import RootGraph, Step
from rootread.geometry import Points, arc_length

ARM_IN = 0.9
"""Length of each arm shown."""
ARM_SAMPLES = 48
WAY_SAMPLES = 32
LENGTH = 2 * ARM_SAMPLES + WAY_SAMPLES
HALF_ACROSS_IN = 0.2
"""How far a strip reaches to either side."""
ACROSS = 24
CHANNELS = 5
"""Red, green, blue, probability of root and of no seam, and whether there is an arm here, each 0 to 255."""
REMAPPED = 600
"""Strips cut at a time: ``cv2.remap`` takes pictures of up to 32767 rows, and a strip has 24."""
TANGENT_SAMPLES = 4
"""Directions are taken over this many samples to either side."""


@dataclass(frozen=True, eq=False)
class StripLines:
    """Where the middles of strips run."""

    middle_px: NDArray[np.float64]
    """``(T, 128, 2)`` places along each strip."""
    is_shown: NDArray[np.bool_]
    """``(T, 128)`` False where an arm is too short to reach."""

    def some(self, which: NDArray[np.int64]) -> "StripLines":
        """Those at places ``which``."""
        return StripLines(self.middle_px[which], self.is_shown[which])


def strip_lines(graph: RootGraph, ends: Ends, joins: Joins, paths: list[list[Step]]) -> StripLines:
    """The middle of the strip of each join; its arms lead back along the roots found so far."""
    arms, is_arm = _arms(graph, ends, paths)
    first, second = joins.pair.T
    way = _ways(graph, ends, joins)
    middle = np.concatenate([arms[first][:, ::-1], way, arms[second]], axis=1)
    is_way = np.ones(way.shape[:2], dtype=bool)
    return StripLines(middle, np.concatenate([is_arm[first][:, ::-1], is_way, is_arm[second]], axis=1))


def strip_pictures(lines: StripLines, layers: NDArray[np.uint8], px_per_in: float) -> NDArray[np.uint8]:
    """``(T, 5, 24, 128)`` the strips themselves."""
    tangent = _tangents(lines.middle_px)
    normal = np.stack([-tangent[..., 1], tangent[..., 0]], axis=-1)
    across_px = np.linspace(-1, 1, ACROSS) * HALF_ACROSS_IN * px_per_in
    pictures = np.empty((len(normal), CHANNELS, ACROSS, LENGTH), np.uint8)
    for strip in np.array_split(np.arange(len(normal)), len(normal) // REMAPPED + 1):
        column, row = (
            (lines.middle_px[strip, None, :, c] + across_px[:, None] * normal[strip, None, :, c])
            .astype(np.float32)
            .reshape(-1, LENGTH)
            for c in (0, 1)
        )
        seen = cv2.remap(layers, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        pictures[strip, :-1] = seen.reshape(-1, ACROSS, LENGTH, CHANNELS - 1).transpose(0, 3, 1, 2)
    pictures[:, -1] = 255
    pictures *= lines.is_shown[:, None, None]
    return pictures


def _arms(
    graph: RootGraph, ends: Ends, paths: list[list[Step]]
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """``(E, 48, 2)`` places back from each end, and where there are any; the rest repeats the last."""
    at = np.linspace(0, ARM_IN * graph.grid.px_per_in, ARM_SAMPLES)
    arms = np.zeros((len(ends.node), ARM_SAMPLES, 2))
    there = np.zeros((len(ends.node), ARM_SAMPLES), dtype=bool)
    beyond = _edges_behind(paths)
    inward = [_inward(graph, ends, end) for end in range(len(ends.node))]
    for end, line in enumerate(inward):
        along = arc_length(line)
        entry = end
        while along[-1] < at[-1] and (entry ^ 1) in beyond:
            entry = beyond[entry ^ 1]
            line = np.concatenate([line, inward[entry]])
            along = arc_length(line)
        arms[end] = np.column_stack([np.interp(at, along, line[:, k]) for k in (0, 1)])
        there[end] = at <= along[-1] + 1e-6
    return arms, there


def _edges_behind(paths: list[list[Step]]) -> dict[int, int]:
    """For the far end of each edge on a root, the end at which the root's next edge begins."""
    onward: dict[int, int] = {}
    for path in paths:
        for here, after in pairwise(path):
            onward.setdefault(here.leaves, after.enters)
            onward.setdefault(after.enters, here.leaves)
    return onward


def _inward(graph: RootGraph, ends: Ends, end: int) -> Points:
    """The centreline of an end's edge, from the end's place to the edge's other end's place."""
    edge = graph.edges[end // 2]
    points = edge.points_px if end % 2 == 0 else edge.points_px[::-1]
    along = arc_length(points)
    kept = (along >= ends.skip_px[end]) & (along <= along[-1] - ends.skip_px[end ^ 1])
    if kept.sum() < 2:
        kept = np.ones(len(points), dtype=bool)
    return points[kept]


def _ways(graph: RootGraph, ends: Ends, joins: Joins) -> NDArray[np.float64]:
    """``(T, 32, 2)`` places from the first end of each join to the second."""
    t = np.linspace(0, 1, WAY_SAMPLES + 2)[1:-1]
    first, second = joins.pair.T
    start, stop = ends.place_px[first][:, None], ends.place_px[second][:, None]
    reach = np.hypot(*(ends.place_px[second] - ends.place_px[first]).T)[:, None, None]
    out, on = ends.heading[first][:, None] * reach, -ends.heading[second][:, None] * reach
    # Keeping both headings is the way of least bending, for small angles.
    ways = cubic(start, out, stop, on, t[None, :, None])
    for k in [k for k, via in enumerate(joins.via) if via]:
        pieces = [_inward(graph, ends, end) for end in joins.via[k]]
        line = np.concatenate([start[k], *pieces, stop[k]])
        along = arc_length(line)
        ways[k] = np.column_stack([np.interp(t * along[-1], along, line[:, c]) for c in (0, 1)])
    return ways


def _tangents(line: NDArray[np.float64]) -> NDArray[np.float64]:
    """``(T, L, 2)`` unit directions along lines."""
    padded = np.pad(line, ((0, 0), (TANGENT_SAMPLES, TANGENT_SAMPLES), (0, 0)), mode="edge")
    step = padded[:, 2 * TANGENT_SAMPLES :] - padded[:, : -2 * TANGENT_SAMPLES]
    length = np.hypot(step[..., 0], step[..., 1])[..., None]
    along = np.where(length > 1e-6, step / np.maximum(length, 1e-6), [1.0, 0.0])
    unit: NDArray[np.float64] = along
    return unit

"""Roots that a person struck out, drew, parted, joined or found flattened: their word against the tracing."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from rootread.follow.parted import joined, parted
from rootread.follow.types import Trace
from rootread.geometry import Points, resample_polyline
from rootread.marks import Marks, RootMark
from rootread.plane.types import WallPlane

STRUCK_NEAR_IN = 0.15
"""A trace this near to a strike is meant by it: about a thick root's width."""
STRUCK_SHARE = 0.5
"""A trace goes when this much of the strike lies on it, or this much of it on the strike."""
STEP_IN = 0.05
USUAL_WIDTH_IN = 0.08
"""Width of a drawn root of unstated width on a wall without any other: a medium root."""


def with_marked_roots(traces: Sequence[Trace], plane: WallPlane, marks: Marks | None) -> tuple[Trace, ...]:
    """The traces as a person corrected them.

    In this order: parted where one was two, without those struck out, with
    those drawn by hand (ids ``m1``, ``m2``, ...), joined where two were one,
    and with the stretches that were seen to be flattened.
    """
    if marks is None:
        return tuple(traces)
    kept = list(traces)
    for place_in in on_wall(plane, marks.splits_px):
        kept = parted(kept, place_in)
    kept = _without_struck(kept, [on_wall(plane, line) for line in marks.roots_struck_px])
    kept += [_drawn(root, number, plane, kept) for number, root in enumerate(marks.roots_added, start=1)]
    for ends_px in marks.joins_px:
        kept = joined(kept, *on_wall(plane, ends_px))
    flattened = [on_wall(plane, line) for line in marks.flattened_px]
    return tuple(_squeezed(trace, flattened) for trace in kept)


def on_wall(plane: WallPlane, line_px: ArrayLike) -> Points:
    """A line marked on the photo, in wall inches."""
    return plane.to_wall_in(np.asarray(line_px, dtype=float).reshape(-1, 2))


def _without_struck(traces: list[Trace], strikes: Sequence[Points]) -> list[Trace]:
    struck = [resample_polyline(line, STEP_IN)[0] for line in strikes]
    kept = [trace for trace in traces if not any(_means(line, trace) for line in struck)]
    gone = {trace.id for trace in traces} - {trace.id for trace in kept}
    return [replace(trace, parent=None) if trace.parent in gone else trace for trace in kept]


def _means(strike: Points, trace: Trace) -> bool:
    on_trace = cKDTree(trace.points).query(strike)[0] < STRUCK_NEAR_IN
    return bool(max(on_trace.mean(), _beside(trace, strike).mean()) >= STRUCK_SHARE)


def _beside(trace: Trace, line_in: Points) -> NDArray[np.bool_]:
    """``(N,)`` True at the points of a trace that lie on a line of close points."""
    return np.asarray(cKDTree(line_in).query(trace.points)[0] < STRUCK_NEAR_IN)


def _drawn(root: RootMark, number: int, plane: WallPlane, others: Sequence[Trace]) -> Trace:
    points, _ = resample_polyline(on_wall(plane, root.points_px), STEP_IN)
    if root.width_px is not None:
        width_in = root.width_px / plane.scale.px_per_in
    elif others:
        width_in = float(np.median([np.median(trace.width_in) for trace in others]))
    else:
        width_in = USUAL_WIDTH_IN
    return Trace(
        id=f"m{number}",
        order=0,
        parent=None,
        points=points,
        width_in=np.full(len(points), width_in),
        inferred=np.zeros(len(points), dtype=bool),
        confidence=1.0,
    )


def _squeezed(trace: Trace, flattened: Sequence[Points]) -> Trace:
    """The trace with every stretch along a marked line said to be flattened."""
    here = along_lines(trace, flattened)
    return replace(trace, squeezed=here) if here.any() else trace


def along_lines(trace: Trace, lines_in: Sequence[Points]) -> NDArray[np.bool_]:
    """``(N,)`` True where a trace goes along a marked line."""
    here = np.zeros(len(trace.points), dtype=bool)
    for line in lines_in:
        beside = _beside(trace, resample_polyline(line, STEP_IN)[0])
        # A root that only crosses the line is not meant by it.
        if beside.sum() * _step_in(trace) >= STRUCK_SHARE * _length_in(line):
            here |= beside
    return here


def _length_in(line: Points) -> float:
    return float(np.hypot(*np.diff(line, axis=0).T).sum())


def _step_in(trace: Trace) -> float:
    return _length_in(trace.points) / max(len(trace.points) - 1, 1)

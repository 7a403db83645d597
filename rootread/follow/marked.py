"""Roots that a person struck out or drew: their word against the tracing."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from rootread.follow.types import Trace
from rootread.geometry import resample_polyline
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
    """Traces without those struck out, and with those drawn by hand (ids ``m1``, ``m2``, ...)."""
    if marks is None:
        return tuple(traces)
    struck = [
        resample_polyline(plane.to_wall_in(np.array(line)), STEP_IN)[0] for line in marks.roots_struck_px
    ]
    kept = [trace for trace in traces if not any(_means(line, trace) for line in struck)]
    gone = {trace.id for trace in traces} - {trace.id for trace in kept}
    drawn = [_drawn(root, number, plane, kept) for number, root in enumerate(marks.roots_added, start=1)]
    return tuple(_without_parent(trace, gone) for trace in kept) + tuple(drawn)


def _means(strike: np.ndarray, trace: Trace) -> bool:
    on_trace = cKDTree(trace.points).query(strike)[0] < STRUCK_NEAR_IN
    on_strike = cKDTree(strike).query(trace.points)[0] < STRUCK_NEAR_IN
    return bool(max(on_trace.mean(), on_strike.mean()) >= STRUCK_SHARE)


def _drawn(root: RootMark, number: int, plane: WallPlane, others: Sequence[Trace]) -> Trace:
    points, _ = resample_polyline(plane.to_wall_in(np.array(root.points_px)), STEP_IN)
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


def _without_parent(trace: Trace, gone: set[str]) -> Trace:
    return replace(trace, parent=None) if trace.parent in gone else trace

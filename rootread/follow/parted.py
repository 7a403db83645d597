"""Cut one trace into two roots, or make two traces one, where a person says so."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import count

import numpy as np

from rootread.follow.types import Trace
from rootread.geometry import Points

NEAR_IN = 0.5
"""A place farther than this from every trace, or end of a trace, means none of them."""
SHORTEST_IN = 0.1
"""A cut this near to an end parts nothing."""
STEP_IN = 0.05


def parted(traces: Sequence[Trace], place_in: Points) -> list[Trace]:
    """The traces with the one at a place cut in two there; its lower part is named ``ID.2``.

    Laterals stay with the part they grow from.
    """
    distances = [np.hypot(*(trace.points - place_in).T) for trace in traces]
    index = min(range(len(traces)), key=lambda k: distances[k].min(), default=None)
    if index is None or distances[index].min() > NEAR_IN:
        return list(traces)
    trace, at = traces[index], int(distances[index].argmin())
    if min(_length_in(trace.points[: at + 1]), _length_in(trace.points[at:])) < SHORTEST_IN:
        return list(traces)
    taken = {other.id for other in traces}
    name = next(name for name in (f"{trace.id}.{k}" for k in count(2)) if name not in taken)
    upper, lower = _stretch(trace, 0, at + 1), _stretch(trace, at, len(trace.points))
    lower = replace(lower, id=name, parent=None, cut=trace.cut)
    others = [
        replace(other, parent=name) if other.parent == trace.id and _nearer(other, lower, upper) else other
        for other in traces
    ]
    return [*others[:index], replace(upper, cut=False), lower, *others[index + 1 :]]


def joined(traces: Sequence[Trace], leaving_in: Points, entered_in: Points) -> list[Trace]:
    """The traces with two of them made one: from the end near one place to the end near the other.

    The gap is bridged straight and marked inferred. The root keeps the first trace's id.
    """
    first = _end_near(traces, leaving_in, None)
    second = None if first is None else _end_near(traces, entered_in, first[0])
    if first is None or second is None:
        return list(traces)
    (one, at_tip), (other, at_other_tip) = first, second
    before = traces[one] if at_tip else _turned(traces[one])
    after = _turned(traces[other]) if at_other_tip else traces[other]
    gap_in = float(np.hypot(*(after.points[0] - before.points[-1])))
    t = np.linspace(0, 1, max(round(gap_in / STEP_IN), 1) + 1)[1:-1, None]
    bridge = before.points[-1] + t * (after.points[0] - before.points[-1])
    widths_in = np.interp(t[:, 0], [0, 1], [before.width_in[-1], after.width_in[0]])
    whole = replace(
        before,
        points=np.concatenate([before.points, bridge, after.points]),
        width_in=np.concatenate([before.width_in, widths_in, after.width_in]),
        inferred=np.concatenate([before.inferred, np.ones(len(bridge), dtype=bool), after.inferred]),
        order=min(before.order, after.order),
        confidence=1.0,
        cut=after.cut,
    )
    whole = replace(whole, parent=None) if whole.parent == after.id else whole
    kept = [whole if k == one else trace for k, trace in enumerate(traces) if k != other]
    return [replace(trace, parent=whole.id) if trace.parent == after.id else trace for trace in kept]


def _stretch(trace: Trace, start: int, end: int) -> Trace:
    return replace(
        trace,
        points=trace.points[start:end],
        width_in=trace.width_in[start:end],
        inferred=trace.inferred[start:end],
    )


def _turned(trace: Trace) -> Trace:
    return replace(
        trace,
        points=trace.points[::-1],
        width_in=trace.width_in[::-1],
        inferred=trace.inferred[::-1],
    )


def _end_near(traces: Sequence[Trace], place_in: Points, without: int | None) -> tuple[int, bool] | None:
    """The trace with the end nearest to a place, and whether that end is its tip."""
    found = [
        (float(np.hypot(*(trace.points[end] - place_in))), index, end == -1)
        for index, trace in enumerate(traces)
        if index != without
        for end in (0, -1)
    ]
    distance_in, index, is_tip = min(found, default=(np.inf, -1, False))
    return (index, is_tip) if distance_in <= NEAR_IN else None


def _nearer(lateral: Trace, one: Trace, other: Trace) -> bool:
    base = lateral.points[0]
    return bool(np.hypot(*(one.points - base).T).min() < np.hypot(*(other.points - base).T).min())


def _length_in(points: Points) -> float:
    return float(np.hypot(*np.diff(points, axis=0).T).sum())

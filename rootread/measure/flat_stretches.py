"""Flattened stretches one by one: where each lies, and whether it lies in a crack.

A crack holds the root that follows it, so that the root hides most of it. Two
things tell of it. The crack is wider than the root or goes on beyond it: a dark
line beside the stretch, or on its way straight on at either end. Or the root
left its course there to go upright: cracks of drying soil stand upright, and a
clod that presses on a root leaves its course as it was.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from rootread.geometry import Points
from rootread.measure.sideways import stretches
from rootread.measure.types import CrackSign, FlatStretch, RootReading

BESIDE_IN = 0.10
"""So far from a root's edge, or off its way straight on, a dark line is that of its crack."""
BEYOND_IN = 1.0
WANDER = 0.1
"""Inches that a crack may leave the way straight on, an inch of way."""
MOST = 0.5
"""Of the stretch, or of the inch beyond it, along which the line must show."""
UPRIGHT_DEG = 60.0
OFF_COURSE_DEG = 20.0
"""By how much steeper than the rest of its root a stretch must go to have left its course."""
HEADING_IN = 0.5
HIDDEN_IN = 0.5


def flat_stretches(root: RootReading, cracks_in: Points | None) -> tuple[FlatStretch, ...]:
    """The flattened stretches of a root, from its base to its tip.

    Parameters
    ----------
    cracks_in : ``(K, 2)`` places that show a crack, wall inches; None where nothing is known of cracks.
    """
    if not root.flattened.any():
        return ()
    tree = None if cracks_in is None or not len(cracks_in) else cKDTree(cracks_in)
    points = root.trace.points
    step_in = root.length_in / max(len(points) - 1, 1)
    found = []
    for first, past in flat_spans(root):
        x, z = points[first:past].mean(axis=0)
        found.append(
            FlatStretch(
                root=root.trace.id,
                depth_in=float(z),
                x_in=float(x),
                length_in=float(root.flattened[first:past].sum()) * step_in,
                crack=_crack_of(root, slice(first, past), step_in, tree),
            )
        )
    return tuple(found)


def flat_spans(root: RootReading) -> list[tuple[int, int]]:
    """Start and end (one past) of each flattened stretch.

    What is bridged between two does not part them, nor does a short piece that another root hides.
    """
    short = round(HIDDEN_IN * max(len(root.trace.points) - 1, 1) / root.length_in)
    spans: list[tuple[int, int]] = []
    for first, past in stretches(root.flattened):
        if spans:
            between = slice(spans[-1][1], first)
            if first - between.start <= short or root.trace.inferred[between].mean() > 0.5:
                first = spans.pop()[0]
        spans.append((first, past))
    return spans


def flattened_in_cracks(flats: Sequence[FlatStretch]) -> float:
    """Share of the flattened length that lies in cracks; NaN where nothing is flattened."""
    whole = sum(flat.length_in for flat in flats)
    return sum(flat.length_in for flat in flats if flat.crack) / whole if whole else float("nan")


def _crack_of(root: RootReading, stretch: slice, step_in: float, cracks: cKDTree | None) -> CrackSign | None:
    if cracks is not None and _shows(root, stretch, step_in, cracks):
        return "seen"
    return "upright" if _left_upright(root, stretch) else None


def _shows(root: RootReading, stretch: slice, step_in: float, cracks: cKDTree) -> bool:
    """Whether a crack shows along most of the stretch, or of the inch straight on at an end."""
    points, width = root.trace.points[stretch], root.trace.width_in[stretch]
    beside = cracks.query(points)[0] <= width / 2 + BESIDE_IN
    if beside.mean() >= MOST:
        return True
    on_in = np.arange(step_in, BEYOND_IN, step_in)
    heading = min(round(HEADING_IN / step_in), len(points) - 1)
    for end, before in ((points[0], points[heading]), (points[-1], points[-1 - heading])):
        way = (end - before) / max(float(np.hypot(*(end - before))), 1e-9)
        off = cracks.query(end + on_in[:, None] * way)[0]
        if (off <= BESIDE_IN + WANDER * on_in).mean() >= MOST:
            return True
    return False


def _left_upright(root: RootReading, stretch: slice) -> bool:
    """Whether the root went upright here and less steeply elsewhere."""
    descent = root.descent_down_deg
    own = _elsewhere(descent, stretch)
    here_deg = float(descent[stretch].mean())
    return here_deg >= UPRIGHT_DEG and len(own) > 0 and here_deg - float(np.median(own)) >= OFF_COURSE_DEG


def _elsewhere(values: NDArray[np.float64], stretch: slice) -> NDArray[np.float64]:
    return np.concatenate([values[: stretch.start], values[stretch.stop :]])

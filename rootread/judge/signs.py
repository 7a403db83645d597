"""The signs of a layer that roots show: diverted, stopped, or squeezed wide.

A root gives one sign at one depth: where it turned, ran and then ended, the
turn is the sign, and the end and a width that changed there are part of it.
And what is seen once is one sign: a root that is lost from sight is led along
another that alone is seen, and so its trace turns wherever the other does.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from rootread.geometry import Points, resample_polyline
from rootread.judge.diversions import SAME_EVENT_IN, Diversion
from rootread.judge.passage import lost_tips
from rootread.measure.sideways import stretches
from rootread.measure.types import RootReading

Kind = Literal["diverted", "stopped", "widened"]

WEIGHED_BY_IN = 0.5
"""A run of the least length, 1.5 in, weighs three times as much as a turn that leads into none."""
MOST_WEIGHT = 8
"""A root that ran 4 in was held; that it ran farther says no more, and one root is to be no layer."""
CAME_DOWN_IN = 2.0
"""A root's end is a stop only if the root was seen to come down at least this far to it."""
TOLD_FROM_IN = 1.0
"""What a root does at a place is told from its way over so much before and after."""
SAME_COURSE_IN = 0.05
"""Traces nearer than this lie on one root: two side by side are a whole width apart, and few are thinner."""
PLACES_IN = SAME_COURSE_IN / 2
"""Places along a trace that another is held against: its own points may be farther apart."""
ALL_THE_WAY = 0.8
"""A trace led along another keeps to it into its turn and out of it. One that comes to a layer on a way
of its own, and only then lies on another root, was turned itself."""
MOSTLY_UNSEEN = 0.5


@dataclass(frozen=True)
class Sign:
    """One root at one depth."""

    root: int
    """Index of the root in the wall's readings."""
    kind: Kind
    x_in: float
    depth_in: float
    x_from_in: float
    x_to_in: float
    sideways_in: float = 0.0
    own: bool = True
    """False where its trace was only led along another that shows the same."""

    @property
    def middle_x_in(self) -> float:
        """Middle of the stretch of wall over which it was seen."""
        return (self.x_from_in + self.x_to_in) / 2

    @property
    def weight(self) -> int:
        """What it says of a layer: the half inches that its root ran; 1 if it did not run.

        A root that wiggles is level for a moment anywhere, and the more it wiggles the more often; only
        what holds it makes it run on. So turns alone tell little where roots wiggle, and long runs much.
        """
        return int(np.clip(round(self.sideways_in / WEIGHED_BY_IN), 1, MOST_WEIGHT))


def signs_of(
    roots: Sequence[RootReading], diverted: Sequence[Diversion], counted_width_in: float
) -> tuple[Sign, ...]:
    """All signs of a wall.

    Parameters
    ----------
    diverted : the wall's diversions.
    counted_width_in : thinner roots end anywhere, as laterals do, so their ends are no signs.
    """
    found = [
        Sign(
            event.root,
            "diverted",
            event.x_in,
            event.depth_in,
            event.x_from_in,
            event.x_to_in,
            event.sideways_in,
        )
        for event in diverted
    ]
    lost = lost_tips(roots)
    for index, root in enumerate(roots):
        if root.width_in < counted_width_in:
            continue
        own = [sign.depth_in for sign in found if sign.root == index]
        points = root.trace.points
        depth = points[:, 1]
        widened = [first for first, _ in stretches(root.flattened)]
        places: list[tuple[Kind, int]] = [("widened", _upper(depth, root, first)) for first in widened]
        tip = 0 if depth[0] > depth[-1] else len(depth) - 1
        if not lost[index] and depth[tip] - depth.min() >= CAME_DOWN_IN:
            places.insert(0, ("stopped", tip))
        for kind, at in places:
            x, z = float(points[at, 0]), float(depth[at])
            if all(abs(z - other) > SAME_EVENT_IN for other in own):
                found.append(Sign(index, kind, x, z, x, x))
                own.append(z)
    return _told_once(found, roots)


def _told_once(signs: Sequence[Sign], roots: Sequence[RootReading]) -> tuple[Sign, ...]:
    """The same signs, each with whether it is its root's own: of those at one place, the best seen."""
    ways = [_way_about(sign, roots[sign.root]) for sign in signs]
    line_of = cache(lambda root: cKDTree(resample_polyline(roots[root].trace.points, PLACES_IN)[0]))
    own: list[int] = []
    for k in np.argsort([unseen for _, unseen in ways], kind="stable").tolist():
        way, unseen = ways[k]
        led = unseen >= MOSTLY_UNSEEN and any(
            _one_place(signs[k], signs[other]) and _along(way, line_of(signs[other].root)) for other in own
        )
        if not led:
            own.append(k)
    kept = set(own)
    return tuple(replace(sign, own=k in kept) for k, sign in enumerate(signs))


def _way_about(sign: Sign, root: RootReading) -> tuple[Points, float]:
    """``(N, 2)`` the trace a little before and after a sign, and the share of it that was not seen."""
    points = root.trace.points
    about = np.hypot(*(points - [sign.x_in, sign.depth_in]).T) <= TOLD_FROM_IN
    return points[about], float(root.trace.inferred[about].mean()) if about.any() else 0.0


def _one_place(sign: Sign, other: Sign) -> bool:
    """Whether two roots show the same within an inch of each other."""
    beside_in = max(sign.x_from_in, other.x_from_in) - min(sign.x_to_in, other.x_to_in)
    below_in = abs(sign.depth_in - other.depth_in)
    return sign.root != other.root and sign.kind == other.kind and max(beside_in, below_in) <= SAME_EVENT_IN


def _along(way: Points, line: cKDTree) -> bool:
    """Whether a piece of a trace ``(N, 2)`` lies on another, of which the places are given."""
    apart_in: NDArray[np.float64] = line.query(way, distance_upper_bound=2 * SAME_COURSE_IN)[0]
    return bool((apart_in <= SAME_COURSE_IN).mean() >= ALL_THE_WAY)


def _upper(depth: np.ndarray, root: RootReading, first: int) -> int:
    """The upper end of a flattened stretch that starts at point ``first``: there the squeeze begins."""
    last = first + int(np.argmin(np.append(root.flattened[first:], False))) - 1
    return first if depth[first] <= depth[last] else last

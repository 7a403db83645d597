"""Which joins are right: the ends of edges matched to the true roots of a made wall."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from rootread.follow.ends import Ends
from rootread.follow.joins import Joins
from rootread.follow.types import RootGraph
from rootread.geometry import Points, apply_homography, arc_length
from rootread.plane import Lens, WallPlane

ARM_IN = 0.35
"""Length of an end's arm that is matched."""
STEP_IN = 0.02
"""Spacing of the points of true roots."""
NEAR_IN = 0.08
SAME_WAY = 0.75
"""Cosine between arm and root from which they run the same way."""
MATCHED_SHARE = 0.7
"""Share of an arm that must lie along a root for the arm to be of that root."""
AS_NEAR_IN = 0.02
"""Roots this little farther than the nearest hold the arm too: in a bundle an edge belongs to several."""


@dataclass(frozen=True)
class Member:
    """One true root that an end is of."""

    root: int
    along_in: float
    """Where on the root the end lies."""
    outward: float
    """1 where the root's base lies behind the end, -1 where its tip does."""


@dataclass(frozen=True, eq=False)
class TrueCourses:
    """All roots of a wall as dense points."""

    points: Points
    way: Points
    root: NDArray[np.int64]
    along_in: NDArray[np.float64]
    width_in: NDArray[np.float64]
    tree: cKDTree


def true_courses(truth: dict[str, Any]) -> TrueCourses:
    """The roots of a truth file where the photo shows them."""
    points, ways, roots, along, widths = [], [], [], [], []
    for number, root in enumerate(truth["roots"]):
        seen = np.array(root["seen"], dtype=float)
        length = arc_length(seen)
        if length[-1] < 10 * STEP_IN:
            continue
        at = np.arange(0, length[-1], STEP_IN)
        line = np.column_stack([np.interp(at, length, seen[:, k]) for k in (0, 1)])
        points.append(line)
        ways.append(_unit(np.gradient(line, axis=0)))
        roots.append(np.full(len(at), number))
        along.append(at)
        widths.append(np.interp(at, length, root["width"]))
    every = np.concatenate(points)
    return TrueCourses(
        every,
        np.concatenate(ways),
        np.concatenate(roots),
        np.concatenate(along),
        np.concatenate(widths),
        cKDTree(every),
    )


def members(graph: RootGraph, ends: Ends, plane: WallPlane, truth: dict[str, Any]) -> list[list[Member]]:
    """For every end the true roots it is of; several in a bundle, none where it is of no root."""
    courses = true_courses(truth)
    found = []
    for number, edge in enumerate(graph.edges):
        line = to_truth(graph.grid.to_in(edge.points_px), plane, truth)
        along = arc_length(line)
        for side in (0, 1):
            inward = along if side == 0 else along[-1] - along
            skip = ends.skip_px[2 * number + side] / graph.grid.px_per_in
            arm = (inward >= skip - 1e-6) & (inward <= skip + ARM_IN)
            if arm.sum() < 2:
                arm = inward <= max(skip + 0.05, 0.08)
            order = np.argsort(inward[arm])
            found.append(_members_of(line[arm][order], courses))
    return found


def _members_of(arm: Points, courses: TrueCourses) -> list[Member]:
    """The roots along an arm, which starts at its end."""
    if len(arm) < 2:
        return []
    way = _unit(np.gradient(arm, axis=0))
    met: dict[int, list[tuple[int, float, int]]] = {}
    for place, near in enumerate(courses.tree.query_ball_point(arm, NEAR_IN)):
        at = np.array(near, dtype=int)
        at = at[np.abs(courses.way[at] @ way[place]) > SAME_WAY]
        away = np.hypot(*(courses.points[at] - arm[place]).T)
        for root in np.unique(courses.root[at]).tolist():
            own = np.flatnonzero(courses.root[at] == root)
            best = own[away[own].argmin()]
            met.setdefault(root, []).append((place, float(away[best]), int(at[best])))
    held = []
    for root, touches in met.items():
        if len(touches) < MATCHED_SHARE * len(arm):
            continue
        at = np.array([t[2] for t in touches])
        away_in = float(np.mean([t[1] for t in touches]))
        # An arm leads back from its end, so that a root that comes along it runs against the arm.
        outward = -np.sign(np.mean(np.einsum("ij,ij->i", courses.way[at], way[[t[0] for t in touches]])))
        width_in = float(courses.width_in[at].mean())
        held.append((away_in, width_in, Member(root, float(courses.along_in[at[0]]), float(outward))))
    nearest = min((away for away, _, _ in held), default=0.0)
    return [
        member
        for away, width, member in held
        if away <= nearest + AS_NEAR_IN and away <= max(0.04, 0.6 * width) + 0.01
    ]


def right_joins(joins: Joins, held: list[list[Member]], ends: Ends, px_per_in: float) -> NDArray[np.bool_]:
    """``(T,)`` whether one root goes on from one end to the other."""
    away = np.hypot(*(ends.place_px[joins.pair[:, 1]] - ends.place_px[joins.pair[:, 0]]).T) / px_per_in
    right = np.zeros(len(away), dtype=bool)
    for k, (a, b) in enumerate(joins.pair.tolist()):
        right[k] = any(
            one.root == other.root
            and one.outward * other.outward < 0
            and -0.15 <= (other.along_in - one.along_in) * one.outward <= 1.6 * away[k] + 0.4
            for one in held[a]
            for other in held[b]
        )
    return right


def to_truth(points_in: Points, plane: WallPlane, truth: dict[str, Any]) -> Points:
    """Places in the wall as it was read, in truth inches."""
    centre = truth["distortion_centre"]
    lens = Lens(truth["focal_px"], truth["focal_px"], centre[0], centre[1], truth["k1"])
    photo_px = lens.undistort(plane.to_photo_px(points_in))
    return apply_homography(np.linalg.inv(np.array(truth["plane_to_photo"])), photo_px)


def _unit(vectors: Points) -> Points:
    unit: Points = vectors / np.maximum(np.hypot(*vectors.T), 1e-9)[:, None]
    return unit

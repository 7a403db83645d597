"""Which edge ends may belong to one root, and how unlikely each such join is.

An *end* is one end of one edge, numbered ``2 * edge + side``. Two ends may be
joined at a meeting, or across a gap where a root passes behind soil. The cost
of a join is a negative log-likelihood: how far the least-energy curve between
the ends has to bend, and how much width and probability disagree.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from rootread.follow.types import RootGraph
from rootread.geometry import Points, arc_length
from rootread.settings import FollowSettings

ARM_IN = 0.35
"""Length of centreline that gives the direction of an end."""
BEND_SIGMA_DEG = 13.0
"""Spread of the change of direction of one root over a meeting."""
PLACE_SIGMA_PX = 1.0
"""Spread of the place of a centreline near a meeting, across the root."""
WIDTH_SIGMA = 0.45
"""Spread of the logarithm of the width ratio of one root on two sides of a meeting."""
GAP_COST = 0.6
"""Cost of any gap at all, so that a gap is bridged only for a reason."""
GAP_COST_PER_IN = 1.6
"""Cost of each inch of a gap."""


@dataclass(frozen=True, eq=False)
class Ends:
    """The ends of all edges, end ``2 * edge + side``."""

    place_px: Points
    """``(E, 2)`` last place on the centreline not spoilt by the meeting."""
    heading: Points
    """``(E, 2)`` unit vector out of the edge at that place."""
    width_px: NDArray[np.float64]
    """``(E,)`` median width over the arm."""
    skip_px: NDArray[np.float64]
    """``(E,)`` how much of the edge lies between its end and ``place_px``."""
    node: NDArray[np.int64]
    """``(E,)`` node at the end, -1 where free."""


@dataclass(frozen=True, eq=False)
class Joins:
    """Pairs of ends that may belong to one root."""

    pair: NDArray[np.int64]
    """``(T, 2)`` ends."""
    cost: NDArray[np.float64]
    """``(T,)`` negative log-likelihood."""
    gap_px: NDArray[np.float64]
    """``(T,)`` distance between the ends; 0 at a meeting."""


def edge_ends(graph: RootGraph) -> Ends:
    """Place, heading and width of every edge end."""
    arm_px = ARM_IN * graph.grid.px_per_in
    count = 2 * len(graph.edges)
    place, heading = np.zeros((count, 2)), np.zeros((count, 2))
    width, skip = np.zeros(count), np.zeros(count)
    node = np.array([n for edge in graph.edges for n in edge.nodes], dtype=np.int64)
    for index, edge in enumerate(graph.edges):
        along = arc_length(edge.points_px)
        for side in (0, 1):
            end = 2 * index + side
            from_end = along if side == 0 else along[-1] - along[::-1]
            points = edge.points_px if side == 0 else edge.points_px[::-1]
            widths = edge.width_px if side == 0 else edge.width_px[::-1]
            spoilt = graph.node_radius_px[node[end]] if node[end] >= 0 else 0.5 * edge.median_width_px
            skip[end] = min(spoilt, 0.3 * along[-1])
            arm = (from_end >= skip[end]) & (from_end <= skip[end] + arm_px)
            place[end], heading[end] = _end_line(points[arm], from_end[arm])
            width[end] = np.median(widths[arm])
    return Ends(place, heading, width, skip, node)


def _end_line(points: Points, along: NDArray[np.float64]) -> tuple[Points, Points]:
    """Least-squares straight line through an arm: its place at the end, its direction out of the edge."""
    if len(points) < 2:
        return points[0], np.zeros(2)
    t = along - along.mean()
    slope = (t @ (points - points.mean(axis=0))) / (t @ t)
    return points.mean(axis=0) + slope * t[0], -slope / max(float(np.hypot(*slope)), 1e-9)


def possible_joins(graph: RootGraph, ends: Ends, settings: FollowSettings) -> Joins:
    """All joins worth considering: at meetings, and across gaps between free ends."""
    at_node: dict[int, list[int]] = {}
    for end, node in enumerate(ends.node.tolist()):
        if node >= 0:
            at_node.setdefault(node, []).append(end)
    pairs = [(a, b) for group in at_node.values() for i, a in enumerate(group) for b in group[i + 1 :]]
    meeting = np.array(pairs, dtype=np.int64).reshape(-1, 2)

    free = np.flatnonzero(ends.node < 0)
    tree = cKDTree(ends.place_px[free])
    reach_px = settings.max_gap_in * graph.grid.px_per_in
    gap = free[tree.query_pairs(reach_px, output_type="ndarray").reshape(-1, 2)]
    gap = gap[gap[:, 0] // 2 != gap[:, 1] // 2]

    pair = np.concatenate([meeting, gap])
    is_gap = np.arange(len(pair)) >= len(meeting)
    distance = np.hypot(*(ends.place_px[pair[:, 1]] - ends.place_px[pair[:, 0]]).T)
    bend, turn = _bend_cost(ends, pair)
    ratio = np.log(ends.width_px[pair[:, 0]] / ends.width_px[pair[:, 1]])
    cost = bend + np.minimum(0.5 * (ratio / WIDTH_SIGMA) ** 2, 1.0)
    cost += np.where(is_gap, GAP_COST + GAP_COST_PER_IN * distance / graph.grid.px_per_in, 0.0)
    limit = np.where(is_gap, settings.max_bend_deg, 2 * settings.max_bend_deg)
    likely = (turn <= limit) & (cost < 8.0)
    return Joins(pair[likely], cost[likely], np.where(is_gap, distance, 0.0)[likely])


def _bend_cost(ends: Ends, pair: NDArray[np.int64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Cost of the bending of the least-energy curve between two ends, and the turn in degrees.

    With ``alpha`` the angle from the first heading to the line between the ends
    and ``beta`` that from the line to the way on, the least-energy cubic has
    bending energy proportional to alpha^2 + alpha beta + beta^2: 3/4 of the turn
    (alpha + beta) squared and 1/4 of the sidestep (alpha - beta) squared.
    """
    a, b = pair.T
    line = ends.place_px[b] - ends.place_px[a]
    length = np.hypot(*line.T)
    out, on = ends.heading[a], -ends.heading[b]
    turn = _angle_deg(out, on)
    alpha = _angle_deg(out, line)
    beta = _angle_deg(line, on)
    noise = np.degrees(np.arctan2(PLACE_SIGMA_PX, length))
    behind = (np.einsum("ij,ij->i", out, line) < 0) & (length > 4 * PLACE_SIGMA_PX)
    sidestep = np.where(length > 1e-6, alpha - beta, 0.0)
    cost = 0.5 * (0.75 * turn**2 / BEND_SIGMA_DEG**2 + 0.25 * sidestep**2 / (BEND_SIGMA_DEG**2 + noise**2))
    return np.where(behind, np.inf, cost), np.abs(turn)


def _angle_deg(u: Points, v: Points) -> NDArray[np.float64]:
    """Signed angle from ``u`` to ``v``."""
    cross = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    return np.degrees(np.arctan2(cross, np.einsum("ij,ij->i", u, v)))

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
TURN_SIGMA_DEG = 10.0
"""Spread of the change of direction of one root over a meeting or a gap."""
SIDESTEP_SIGMA_DEG = 12.0
"""Spread of the angle by which one root steps aside there."""
PLACE_SIGMA_PX = 1.5
"""Spread of the place of a centreline near a meeting, across the root."""
WIDTH_SIGMA = 0.3
"""Spread of the logarithm of the width ratio of one root on two sides."""
SHORT_WIDTH_SIGMA = 0.6
"""The same where an edge is too short to say its width well."""
WIDTH_COST_LIMIT = 3.5
"""However different, widths cost no more: one of them may be of two roots."""
MEETING_MAX_BEND_DEG = 110.0
"""Roots turn sharply at layers and into cracks, but do not go back on themselves."""
BEND_COST_LIMIT = 12.0
"""However sharp, a bend costs no more: sharp ones are rare, not impossible."""
MAX_JOIN_COST = 8.0
"""Less likely joins are not considered."""
VIA_IN = 0.6
"""Edges shorter than this say little of direction: joins are weighed from one side of them to the other."""
MAX_VIA = 3
"""No join goes over more short edges than this."""
GAP_COST = 0.6
"""Cost of any gap at all, so that a gap is bridged only for a reason."""
GAP_COST_PER_IN = 1.6
"""Cost of each inch of a gap over soil."""
COVERED_SAVES_PER_IN = 1.2
"""How much of that is saved where the gap runs over other roots, which hide what passes beneath."""


@dataclass(frozen=True, eq=False)
class Ends:
    """The ends of all edges, end ``2 * edge + side``."""

    place_px: Points
    """``(E, 2)`` last place on the centreline not spoilt by the meeting."""
    heading: Points
    """``(E, 2)`` unit vector out of the edge at that place."""
    width_px: NDArray[np.float64]
    """``(E,)`` median width over the arm."""
    arm_px: NDArray[np.float64]
    """``(E,)`` length of the arm that gave the heading."""
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
    via: tuple[tuple[int, ...], ...]
    """For each join, the ends at which short edges between the two are entered, from first to second."""


def edge_ends(graph: RootGraph) -> Ends:
    """Place, heading and width of every edge end."""
    arm_px = ARM_IN * graph.grid.px_per_in
    count = 2 * len(graph.edges)
    place, heading = np.zeros((count, 2)), np.zeros((count, 2))
    width, skip, reach = np.zeros(count), np.zeros(count), np.zeros(count)
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
            width[end] = max(float(np.median(widths[arm])), 1.0)
            reach[end] = np.ptp(from_end[arm])
    return Ends(place, heading, width, reach, skip, node)


def _end_line(points: Points, along: NDArray[np.float64]) -> tuple[Points, Points]:
    """Least-squares straight line through an arm: its place at the end, its direction out of the edge."""
    if len(points) < 2:
        return points[0], np.zeros(2)
    t = along - along.mean()
    slope = (t @ (points - points.mean(axis=0))) / (t @ t)
    return points.mean(axis=0) + slope * t[0], -slope / max(float(np.hypot(*slope)), 1e-9)


def possible_joins(
    graph: RootGraph, ends: Ends, mask: NDArray[np.bool_], settings: FollowSettings
) -> Joins:
    """All joins worth considering: at meetings, over short edges between meetings, and across gaps."""
    at_node: list[list[int]] = [[] for _ in graph.nodes_px]
    for end, node in enumerate(ends.node.tolist()):
        if node >= 0:
            at_node[node].append(end)
    met, met_via = _joins_at_meetings(graph, ends, at_node)
    gap = _facing_ends(graph, ends, settings)
    pair = np.concatenate([met, gap])
    via = met_via + [()] * len(gap)
    is_gap = np.arange(len(pair)) >= len(met)
    over_edges = np.array([len(v) > 0 for v in via], dtype=bool)
    distance = np.hypot(*(ends.place_px[pair[:, 1]] - ends.place_px[pair[:, 0]]).T)
    bend, turn = bend_cost(ends, pair)
    cost = bend + width_cost(ends, pair, graph.grid.px_per_in)
    gap_cost = GAP_COST + distance / graph.grid.px_per_in * (
        GAP_COST_PER_IN - COVERED_SAVES_PER_IN * _covered_share(ends, pair, mask)
    )
    cost += np.where(is_gap, gap_cost, 0.0)
    cost += np.where(is_gap, 0.5 * (ends.node[pair] >= 0).sum(axis=1), 0.0)
    limit = np.where(is_gap | over_edges, settings.max_bend_deg, MEETING_MAX_BEND_DEG)
    likely = (turn <= limit) & (cost < MAX_JOIN_COST)
    kept = np.flatnonzero(likely)
    return Joins(pair[kept], cost[kept], np.where(is_gap, distance, 0.0)[kept], tuple(via[k] for k in kept))


def _joins_at_meetings(
    graph: RootGraph, ends: Ends, at_node: list[list[int]]
) -> tuple[NDArray[np.int64], list[tuple[int, ...]]]:
    """Pairs of ends at one meeting, or at two that only short edges part, and the edges between."""
    length = np.array([edge.length_px for edge in graph.edges])
    short = length <= VIA_IN * graph.grid.px_per_in
    node = ends.node.tolist()
    found: dict[tuple[int, int], tuple[float, tuple[int, ...]]] = {}
    for first in range(len(node)):
        if node[first] < 0:
            continue
        reached: list[tuple[int, tuple[int, ...], float]] = [(node[first], (), 0.0)]
        while reached:
            place, via, walked = reached.pop()
            for end in at_node[place]:
                edge = end // 2
                if edge == first // 2 or any(edge == v // 2 for v in via):
                    continue
                if end > first:
                    known = found.get((first, end))
                    if known is None or walked < known[0]:
                        found[first, end] = (walked, via)
                if short[edge] and len(via) < MAX_VIA and node[end ^ 1] >= 0:
                    ahead = walked + float(length[edge])
                    if ahead <= VIA_IN * graph.grid.px_per_in:
                        reached.append((node[end ^ 1], (*via, end), ahead))
    pairs = np.array(list(found), dtype=np.int64).reshape(-1, 2)
    return pairs, [via for _, via in found.values()]


def _facing_ends(graph: RootGraph, ends: Ends, settings: FollowSettings) -> NDArray[np.int64]:
    """Pairs of ends that look at each other across a gap; at meetings too, for a stub may hide a root's end."""
    tree = cKDTree(ends.place_px)
    pair = tree.query_pairs(settings.max_gap_in * graph.grid.px_per_in, output_type="ndarray").reshape(-1, 2)
    a, b = pair.T
    apart = (a // 2 != b // 2) & ((ends.node[a] != ends.node[b]) | (ends.node[a] < 0))
    line = ends.place_px[b] - ends.place_px[a]
    faces = np.cos(np.radians(settings.max_bend_deg)) * np.hypot(*line.T)
    looking = (np.einsum("ij,ij->i", ends.heading[a], line) >= faces) & (
        np.einsum("ij,ij->i", ends.heading[b], -line) >= faces
    )
    very_near = (np.hypot(*line.T) < 0.5 * (ends.width_px[a] + ends.width_px[b])) & (ends.node[pair] < 0).all(axis=1)
    return pair[apart & (looking | very_near)].astype(np.int64)


def _covered_share(
    ends: Ends, pair: NDArray[np.int64], mask: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """Share of the straight line between two ends that runs over root pixels, where a root may pass beneath."""
    t = np.linspace(0.1, 0.9, 9)[:, None, None]
    place = (1 - t) * ends.place_px[pair[:, 0]] + t * ends.place_px[pair[:, 1]]
    column, row = np.round(place).astype(int).transpose(2, 0, 1)
    return mask[row.clip(0, mask.shape[0] - 1), column.clip(0, mask.shape[1] - 1)].mean(axis=0)


def width_cost(ends: Ends, pair: NDArray[np.int64], px_per_in: float) -> NDArray[np.float64]:
    """Cost of the difference in width between two ends."""
    ratio = np.log(ends.width_px[pair[:, 0]] / ends.width_px[pair[:, 1]])
    short = 1 - ends.arm_px[pair].min(axis=1) / (ARM_IN * px_per_in)
    sigma = WIDTH_SIGMA + (SHORT_WIDTH_SIGMA - WIDTH_SIGMA) * short
    return np.minimum(0.5 * (ratio / sigma) ** 2, WIDTH_COST_LIMIT)


def bend_cost(ends: Ends, pair: NDArray[np.int64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Cost of the bending of the least-energy curve between two ends, and the turn in degrees.

    With ``alpha`` the angle from the first heading to the line between the ends
    and ``beta`` that from the line to the way on, the least-energy cubic has
    bending energy proportional to alpha^2 + alpha beta + beta^2: 3/4 of the turn
    (alpha + beta) squared and 1/4 of the sidestep (alpha - beta) squared. Both
    are taken as normal; their spread grows where arms or the way between are
    short, since centrelines are sure to ``PLACE_SIGMA_PX`` only.
    """
    a, b = pair.T
    line = ends.place_px[b] - ends.place_px[a]
    length = np.hypot(*line.T)
    out, on = ends.heading[a], -ends.heading[b]
    turn = _angle_deg(out, on)
    sidestep = np.where(length > 1e-6, _angle_deg(out, line) - _angle_deg(line, on), 0.0)
    arm_noise = (np.degrees(np.arctan2(PLACE_SIGMA_PX, ends.arm_px[pair])) ** 2).sum(axis=1)
    line_noise = np.degrees(np.arctan2(2 * PLACE_SIGMA_PX, length)) ** 2
    turn_sigma = np.sqrt(TURN_SIGMA_DEG**2 + arm_noise)
    sidestep_sigma = np.sqrt(SIDESTEP_SIGMA_DEG**2 + arm_noise + line_noise)
    cost = 0.5 * (turn / turn_sigma) ** 2 + np.log(turn_sigma / TURN_SIGMA_DEG)
    cost += 0.5 * (sidestep / sidestep_sigma) ** 2
    cost = cost / (1 + cost / BEND_COST_LIMIT)
    behind = (np.einsum("ij,ij->i", out, line) < 0) & (length > 4 * PLACE_SIGMA_PX)
    return np.where(behind, np.inf, cost), np.abs(turn)


def _angle_deg(u: Points, v: Points) -> NDArray[np.float64]:
    """Signed angle from ``u`` to ``v``."""
    cross = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    return np.degrees(np.arctan2(cross, np.einsum("ij,ij->i", u, v)))

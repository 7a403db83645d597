"""Which edge ends may belong to one root.

Two ends may be joined at a meeting, over short edges between meetings, or
across a gap where a root passes behind soil or beneath other roots.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from rootread.follow.ends import Ends
from rootread.follow.joincost import join_cost
from rootread.follow.strands import Strands
from rootread.follow.types import RootGraph
from rootread.settings import FollowSettings

MEETING_MAX_BEND_DEG = 110.0
"""Roots turn sharply at layers and into cracks, but do not go back on themselves."""
MAX_JOIN_COST = 20.0
"""Less likely joins are not considered."""
COMPANY_COSINE = 0.7
"""Roots that come to a meeting within 45 degrees of each other run on together."""
VIA_IN = 0.6
"""Edges shorter than this say little of direction: joins are weighed from one side of them to the other."""
MAX_VIA = 3
"""No join goes over more short edges than this."""


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


def possible_joins(graph: RootGraph, ends: Ends, strands: Strands, settings: FollowSettings) -> Joins:
    """All joins worth considering: at meetings, over short edges between meetings, and across gaps."""
    at_node: list[list[int]] = [[] for _ in graph.nodes_px]
    for end, node in enumerate(ends.node.tolist()):
        if node >= 0:
            at_node[node].append(end)
    gap = _facing_ends(graph, ends, settings)
    met, met_via = _joins_at_meetings(graph, ends, at_node)
    company = np.concatenate([_company(ends, met, at_node), np.zeros(len(gap))])
    pair = np.concatenate([met, gap])
    via = met_via + [()] * len(gap)
    is_gap = np.arange(len(pair)) >= len(met)
    over_edges = np.array([len(v) > 0 for v in via], dtype=bool)
    distance = np.hypot(*(ends.place_px[pair[:, 1]] - ends.place_px[pair[:, 0]]).T)
    via_count = np.array([len(v) for v in via], dtype=float)
    cost, turn = join_cost(ends, pair, is_gap, via_count, company, strands)
    limit = np.where(is_gap | over_edges, settings.max_bend_deg, MEETING_MAX_BEND_DEG)
    kept = np.flatnonzero((turn <= limit) & (cost < MAX_JOIN_COST))
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


def _company(ends: Ends, pair: NDArray[np.int64], at_node: list[list[int]]) -> NDArray[np.float64]:
    """Width of the other edges at a meeting that run into the wider edge of each pair along with the narrower."""
    company = np.zeros(len(pair))
    node = ends.node[pair]
    for k in np.flatnonzero(node[:, 0] == node[:, 1]).tolist():
        narrow, wide = sorted(pair[k].tolist(), key=lambda end: float(ends.width_px[end]))
        others = [end for end in at_node[node[k, 0]] if end not in (narrow, wide)]
        same_way = ends.heading[others] @ ends.heading[narrow] > COMPANY_COSINE
        company[k] = ends.width_px[others][same_way].sum()
    return company


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
    very_near = (np.hypot(*line.T) < 0.5 * (ends.width_px[a] + ends.width_px[b])) & (ends.node[pair] < 0).all(
        axis=1
    )
    return pair[apart & (looking | very_near)].astype(np.int64)

"""Which edge ends may belong to one root.

Two ends may be joined at a meeting, over short edges between meetings, or
across a gap where a root passes behind soil, beneath other roots or behind the
scale object; where nothing leads on, also by a turn out of sight.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from rootread.follow.ends import COMPANY_COSINE, Ends
from rootread.follow.joincost import askew_of_deg, heading_doubt_deg, join_cost, places_between
from rootread.follow.likelihood import at_soil_edge
from rootread.follow.nets import refuse_facing_ends
from rootread.follow.strands import Strands
from rootread.follow.types import RootGraph
from rootread.follow.unseen_turns import pair_number, unseen_turns
from rootread.settings import FollowSettings

MEETING_MAX_BEND_DEG = 110.0
"""Roots turn sharply at layers and into cracks, but do not go back on themselves."""
MAX_COVERED_GAP = 2.0
"""Gaps that run mostly beneath other roots may be this many times longer."""
MAX_HIDDEN_GAP_IN = 6.0
"""Gaps behind the scale object are no longer than this: the width of a board, or a slant behind a staff."""
MAX_JOIN_COST = 20.0
"""Less likely joins are not considered."""
VIA_IN = 0.6
"""Edges shorter than this say little of direction: joins are weighed from one side of them to the other."""
MERGED_IN = 3.0
"""The same for edges that several roots share."""
MERGED_COST = 2.5
"""A join that starts or ends on such an edge, instead of going over it."""
MOSTLY_HIDDEN = 0.6
"""Share of the way between two ends behind the scale object from which it is what parts them."""
MAX_VIA = 4
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
    """All joins worth considering: at meetings, over short edges between, across gaps, by unseen turns."""
    gap = _facing_ends(graph, ends, strands, settings)
    met, met_via = _joins_at_meetings(graph, ends)
    company = np.concatenate([_company(ends, met), np.zeros(len(gap))])
    pair = np.concatenate([met, gap])
    via = met_via + [()] * len(gap)
    is_gap = np.arange(len(pair)) >= len(met)
    over_edges = np.array([len(v) > 0 for v in via], dtype=bool)
    distance = np.hypot(*(ends.place_px[pair[:, 1]] - ends.place_px[pair[:, 0]]).T)
    cost, turn = join_cost(ends, pair, is_gap, company, strands)
    cost += np.where(is_gap, 0.0, MERGED_COST * ends.merged[pair // 2].sum(axis=1))
    a, b = pair.T
    doubt = 0.5 * (heading_doubt_deg(ends, a, b) + heading_doubt_deg(ends, b, a))
    doubtful = settings.max_bend_deg + doubt
    limit = np.where(is_gap | over_edges, doubtful, MEETING_MAX_BEND_DEG)
    kept = np.flatnonzero((turn <= limit) & (cost < MAX_JOIN_COST) & goes_ahead(ends, pair, via))
    straight = some_joins(Joins(pair, cost, np.where(is_gap, distance, 0.0), tuple(via)), kept)
    return _with_unseen_turns(straight, ends, settings.max_gap_in, graph.grid.px_per_in)


def _with_unseen_turns(straight: Joins, ends: Ends, max_gap_in: float, px_per_in: float) -> Joins:
    """The joins straight on, and those by a turn out of sight."""
    pair, cost = unseen_turns(ends, straight.pair, straight.cost, max_gap_in, px_per_in)
    gap_px = np.hypot(*(ends.place_px[pair[:, 1]] - ends.place_px[pair[:, 0]]).T)
    return Joins(
        np.concatenate([straight.pair, pair]),
        np.concatenate([straight.cost, cost]),
        np.concatenate([straight.gap_px, gap_px]),
        straight.via + ((),) * len(pair),
    )


def some_joins(joins: Joins, which: NDArray[np.int64]) -> Joins:
    """Those at places ``which``."""
    via = tuple(joins.via[k] for k in which.tolist())
    return Joins(joins.pair[which], joins.cost[which], joins.gap_px[which], via)


def share_hidden(ends: Ends, pair: NDArray[np.int64], strands: Strands) -> NDArray[np.float64]:
    """``(T,)`` share of the way between two ends that the scale object hides."""
    share: NDArray[np.float64] = strands.hidden[places_between(ends, pair, strands.mask.shape)].mean(axis=0)
    return share


def _joins_at_meetings(graph: RootGraph, ends: Ends) -> tuple[NDArray[np.int64], list[tuple[int, ...]]]:
    """Pairs of ends at one meeting, or at two that only short edges part, and the edges between."""
    lengths_px = np.array([edge.length_px for edge in graph.edges])
    passable = ((lengths_px <= VIA_IN * graph.grid.px_per_in) | ends.merged).tolist()
    longest = (np.where(ends.merged, MERGED_IN, VIA_IN) * graph.grid.px_per_in).tolist()
    length = lengths_px.tolist()
    node, at_node = ends.node.tolist(), ends.at_node
    found: dict[tuple[int, int], tuple[float, tuple[int, ...]]] = {}
    for first in range(len(node)):
        if node[first] < 0:
            continue
        reached: list[tuple[int, tuple[int, ...], tuple[int, ...], float]] = [
            (node[first], (), (first // 2,), 0.0)
        ]
        while reached:
            place, via, seen, walked = reached.pop()
            for end in at_node[place]:
                edge = end // 2
                if edge in seen:
                    continue
                if end > first:
                    known = found.get((first, end))
                    if known is None or walked < known[0]:
                        found[first, end] = (walked, via)
                if passable[edge] and len(via) < MAX_VIA and node[end ^ 1] >= 0:
                    ahead = walked + length[edge]
                    if ahead <= longest[edge]:
                        reached.append((node[end ^ 1], (*via, end), (*seen, edge), ahead))
    pairs = np.array(list(found), dtype=np.int64).reshape(-1, 2)
    return pairs, [via for _, via in found.values()]


def goes_ahead(ends: Ends, pair: NDArray[np.int64], via: list[tuple[int, ...]]) -> NDArray[np.bool_]:
    """``(T,)`` whether every edge between two ends leads from the first toward the second, and none back."""
    join = np.repeat(np.arange(len(pair)), [len(v) for v in via])
    entered = np.array([end for v in via for end in v], dtype=np.int64)
    way = ends.place_px[pair[:, 1]] - ends.place_px[pair[:, 0]]
    along_edge = ends.place_px[entered ^ 1] - ends.place_px[entered]
    ahead = np.ones(len(pair), dtype=bool)
    ahead[join[np.einsum("ij,ij->i", along_edge, way[join]) < 0]] = False
    return ahead


def _company(ends: Ends, pair: NDArray[np.int64]) -> NDArray[np.float64]:
    """Width of the other edges at a meeting that join the narrower of each pair in the wider one."""
    company = np.zeros(len(pair))
    node = ends.node[pair]
    for k in np.flatnonzero(node[:, 0] == node[:, 1]).tolist():
        narrow, wide = sorted(pair[k].tolist(), key=lambda end: float(ends.width_px[end]))
        others = [end for end in ends.at_node[node[k, 0]] if end not in (narrow, wide)]
        same_way = ends.heading[others] @ ends.heading[narrow] > COMPANY_COSINE
        company[k] = ends.width_px[others][same_way].sum()
    return company


def _facing_ends(
    graph: RootGraph, ends: Ends, strands: Strands, settings: FollowSettings
) -> NDArray[np.int64]:
    """Pairs of ends that look at each other across a gap.

    Ends at meetings too, for a stub may hide a root's end. Ends of short arms
    may look the more askew, the less sure their heading is. Only bare soil
    counts towards the longest gap, not where the root may lie beneath others.
    """
    px_per_in = graph.grid.px_per_in
    tree = cKDTree(ends.place_px)
    near = tree.query_pairs(MAX_COVERED_GAP * settings.max_gap_in * px_per_in, output_type="ndarray")
    pair = np.concatenate([near.reshape(-1, 2), _across_object(ends, strands)]).astype(np.int64)
    a, b = pair.T
    pair = pair[(a // 2 != b // 2) & ((ends.node[a] != ends.node[b]) | (ends.node[a] < 0))]
    for side in (0, 1):
        # One end at a time: of the millions of pairs that are near, the first leaves few for the other.
        one, other = pair[:, side], pair[:, 1 - side]
        limit = settings.max_bend_deg + heading_doubt_deg(ends, one, other)
        pair = pair[askew_of_deg(ends, one, other) <= limit]
    length_px = np.hypot(*(ends.place_px[pair[:, 1]] - ends.place_px[pair[:, 0]]).T)
    between = places_between(ends, pair, strands.mask.shape)
    bare = 1 - (strands.whole_mask[between] | strands.hidden[between]).mean(axis=0)
    bridged = bare * length_px <= settings.max_gap_in * px_per_in
    refuse_facing_ends(length_px[bridged] / px_per_in, len(graph.edges))
    pair = pair[bridged]
    # Each pair once: of the millions that are near, few are left by now.
    return np.column_stack(np.divmod(np.unique(pair_number(pair, ends)), len(ends.node)))


def _across_object(ends: Ends, strands: Strands) -> NDArray[np.int64]:
    """Pairs of ends with the scale object, and nothing else, between them."""
    px_per_in = strands.grid.px_per_in
    beside = np.flatnonzero(at_soil_edge(ends, strands.soil, px_per_in))
    tree = cKDTree(ends.place_px[beside])
    pair = beside[tree.query_pairs(MAX_HIDDEN_GAP_IN * px_per_in, output_type="ndarray").reshape(-1, 2)]
    return pair[share_hidden(ends, pair, strands) > MOSTLY_HIDDEN]

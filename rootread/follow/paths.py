"""The cheapest set of whole roots that explains the graph.

Every root is a path over edges and joins. How often each join is used is found
for all meetings and gaps together, as an integer programme: each edge end is
either joined on or is where a root starts or stops, which costs too; an edge
may carry several roots that run along each other.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, linear_sum_assignment, milp
from scipy.sparse import coo_array

from rootread.follow.joins import Ends, Joins
from rootread.follow.types import RootGraph

FREE_END_COST = 2.5
"""A root stops where the mask stops."""
MEETING_END_COST = 2.6
"""A root starts or stops at another."""
THIN_MEETING_END_COST = 1.2
"""The same for a root much thinner than the other: a lateral."""
THIN_RATIO = 0.6
SHARED_COST = 0.7
"""A further root along the same edge."""
SHARED_COST_PER_IN = 0.15
"""The same, each inch."""
MAX_SHARED = 5
"""No edge carries more roots than this."""
LEFT_OUT_COST_PER_IN = 12.0
"""An edge that belongs to no root, each inch."""


@dataclass(frozen=True)
class Step:
    """One edge of a root's path, walked from first to last point or back."""

    edge: int
    forward: bool
    gap_before: bool
    """True where a gap was bridged to come here."""


def choose_paths(graph: RootGraph, ends: Ends, joins: Joins) -> list[list[Step]]:
    """The paths of all roots, in no particular direction."""
    if not graph.edges:
        return []
    uses = _solve(graph, ends, joins)
    return _walk(graph, ends, joins, uses)


def _end_cost(graph: RootGraph, ends: Ends) -> NDArray[np.float64]:
    """What it costs that a root starts or stops at each end."""
    widest = np.zeros(len(graph.nodes_px) + 1)
    np.maximum.at(widest, ends.node, ends.width_px)
    thin = ends.width_px < THIN_RATIO * widest[ends.node]
    at_meeting = np.where(thin, THIN_MEETING_END_COST, MEETING_END_COST)
    return np.where(ends.node >= 0, at_meeting, FREE_END_COST)


def _solve(graph: RootGraph, ends: Ends, joins: Joins) -> NDArray[np.int64]:
    """How many roots use each join, ``(T,)``.

    Unknowns: uses t of each join, stops s at each end, whether an edge is left
    out u, further roots x along an edge. For every end
    ``sum of t there + s = 1 - u + x``; the sum of all costs is least.
    """
    edge_count, end_count, join_count = len(graph.edges), len(ends.node), len(joins.cost)
    length_in = np.array([edge.length_px for edge in graph.edges]) / graph.grid.px_per_in
    cost = np.concatenate(
        [
            joins.cost,
            _end_cost(graph, ends),
            LEFT_OUT_COST_PER_IN * length_in,
            SHARED_COST + SHARED_COST_PER_IN * length_in,
        ]
    )
    join, end, edge = np.arange(join_count), np.arange(end_count), np.arange(end_count) // 2
    rows = [joins.pair[:, 0], joins.pair[:, 1], end, end, end]
    columns = [
        join,
        join,
        join_count + end,
        join_count + end_count + edge,
        join_count + end_count + edge_count + edge,
    ]
    signs = [1.0, 1.0, 1.0, 1.0, -1.0]
    values = np.concatenate([np.full(len(r), s) for r, s in zip(rows, signs, strict=True)])
    matrix = coo_array(
        (values, (np.concatenate(rows), np.concatenate(columns))), shape=(end_count, len(cost))
    ).tocsr()
    upper = np.concatenate(
        [
            np.where(joins.gap_px > 0, 1, MAX_SHARED),
            np.where(ends.node < 0, 1, MAX_SHARED),
            np.ones(edge_count),
            np.full(edge_count, MAX_SHARED - 1),
        ]
    )
    solution = milp(
        cost,
        constraints=LinearConstraint(matrix, 1.0, 1.0),
        bounds=Bounds(0, upper),
        integrality=np.ones(len(cost)),
        options={"time_limit": 5.0, "mip_rel_gap": 1e-3},
    )
    if solution.x is None:  # every end stops: always feasible, so only a time limit comes here
        return np.zeros(join_count, dtype=np.int64)
    return np.round(solution.x[:join_count]).astype(np.int64)


def _walk(graph: RootGraph, ends: Ends, joins: Joins, uses: NDArray[np.int64]) -> list[list[Step]]:
    """Take the used joins apart into single paths."""
    leaving: list[list[int]] = [[] for _ in range(len(ends.node))]  # uses of joins at each end
    use_of = np.repeat(np.arange(len(uses)), uses)
    for use, join in enumerate(use_of.tolist()):
        for end in joins.pair[join].tolist():
            leaving[end].append(use)
    onward: dict[tuple[int, int], int] = {}  # (use, end it comes in by) -> use it goes out by
    loose: list[list[int | None]] = []
    for edge in range(len(graph.edges)):
        heads, tails = leaving[2 * edge], leaving[2 * edge + 1]
        for head, tail in _match(heads, tails, use_of, joins, ends, 2 * edge):
            if head is not None and tail is not None:
                onward[head, 2 * edge] = tail
                onward[tail, 2 * edge + 1] = head
        if not heads and not tails:
            loose.append([edge])
    paths = [[Step(edge[0], True, False)] for edge in loose if edge[0] is not None]
    return paths + _follow_uses(joins, use_of, onward)


def _match(
    heads: list[int], tails: list[int], use_of: NDArray[np.int64], joins: Joins, ends: Ends, head_end: int
) -> list[tuple[int | None, int | None]]:
    """Which root coming in at one end of an edge goes out which way at the other."""
    if not heads or not tails:
        return []
    if len(heads) == len(tails) == 1:
        return [(heads[0], tails[0])]
    sides = []
    widths = []
    for group, end in ((heads, head_end), (tails, head_end + 1)):
        across = np.array([-ends.heading[end][1], ends.heading[end][0]]) * (1 if end == head_end else -1)
        others = [_other(joins.pair[use_of[use]], end) for use in group]
        sides.append(np.array([(ends.place_px[o] - ends.place_px[end]) @ across for o in others]))
        widths.append(np.array([np.log(ends.width_px[o]) for o in others]))
    # Roots that run along each other keep their sides and their widths.
    order = [np.argsort(np.argsort(s)) / max(len(s) - 1, 1) for s in sides]
    cost = np.abs(order[0][:, None] - order[1][None]) + np.abs(widths[0][:, None] - widths[1][None])
    return [(heads[i], tails[j]) for i, j in zip(*linear_sum_assignment(cost), strict=True)]


def _other(pair: NDArray[np.int64], end: int) -> int:
    return int(pair[1] if pair[0] == end else pair[0])


def _follow_uses(
    joins: Joins, use_of: NDArray[np.int64], onward: dict[tuple[int, int], int]
) -> list[list[Step]]:
    """Walk from use to use through the edges between them."""
    paths = []
    seen: set[int] = set()
    starts = [
        u for u in range(len(use_of)) if any((u, e) not in onward for e in joins.pair[use_of[u]].tolist())
    ]
    for start in starts + list(range(len(use_of))):
        if start in seen:
            continue
        pair = joins.pair[use_of[start]].tolist()
        first = next((e for e in pair if (start, e) not in onward), pair[0])
        path = [Step(first // 2, first % 2 == 1, False)]
        use, end = start, first
        while use not in seen:
            seen.add(use)
            end = _other(joins.pair[use_of[use]], end)
            path.append(Step(end // 2, end % 2 == 0, bool(joins.gap_px[use_of[use]] > 0)))
            following = onward.get((use, end))
            if following is None:
                break
            use, end = following, end ^ 1
        paths.append(path)
    return paths

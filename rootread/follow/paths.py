"""The cheapest set of whole roots that explains the graph.

Every root is a path over edges and joins, walked from base to tip. How often
each join is used, and which way, is found for all meetings and gaps together,
as an integer programme: a flow of roots that starts at bases, stops at tips,
passes over every edge, and costs least. An edge may carry several roots that
run along each other, also in opposite directions.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, linear_sum_assignment, linprog, milp
from scipy.sparse import coo_array, csr_array

from rootread.follow.ends import Ends
from rootread.follow.joincost import bend_features, weigh, width_features
from rootread.follow.joins import Joins, some_joins
from rootread.follow.likelihood import EndCosts
from rootread.follow.types import RootGraph, Step

SHARED_COST = 2.0
"""A further root along the same edge."""
MERGED_COST = 0.3
"""The same, where two roots seem to run into it at both ends."""
SHARED_COST_PER_IN = 0.05
"""The same, each inch."""
RISE_COST_PER_IN = 1.0
"""A root that climbs, each inch of climb."""
MAX_SHARED = 6
"""No edge carries more roots than this each way."""
HOPELESS_COST = 1.5
"""Joins whose use would add at least this much are not weighed further: on made walls whole roots cost 0 to 1
more than relaxed ones."""
AS_GOOD_AS_WHOLE = 1e-6
"""Numbers this near to whole ones are."""
MAX_MATCH_COST = 8.0
"""However badly two ends fit over a shared edge, it costs no more."""
MAX_NODES = 300
"""The search for whole numbers ends after this many branchings with the best it has."""
MOST_JOINS = 30_000
MOST_UNKNOWNS = 14_000
"""Twice as many joins as a wall full of roots has, and as many unknowns that are not hopeless as all but one
of 300 made walls have: a thicket has more, and would take long. Its further joins are left out, its whole
numbers are rounded ones."""
LEFT_OUT_COST_PER_IN = 15.0
"""An edge that belongs to no root, each inch."""


def choose_paths(
    graph: RootGraph, ends: Ends, joins: Joins, end_costs: EndCosts, rounded: bool = False
) -> list[list[Step]]:
    """The paths of all roots, base first.

    ``rounded`` takes the relaxed problem's numbers, rounded: right enough to tell where an end comes from,
    in a third of the time.
    """
    if not graph.edges:
        return []
    joins = _worth_weighing(joins, end_costs)
    flow = _solve(graph, joins, end_costs, ends.merged, rounded)
    return _walk(graph, ends, joins, *flow)


def _worth_weighing(joins: Joins, end_costs: EndCosts) -> Joins:
    """Joins that may cost less than a root that stops here and another that starts there.

    Of more than ``MOST_JOINS`` the cheapest of every end are kept first.
    """
    a, b = joins.pair.T
    apart = np.maximum(end_costs.stop[a] + end_costs.start[b], end_costs.stop[b] + end_costs.start[a])
    joins = some_joins(joins, np.flatnonzero(joins.cost < apart))
    if len(joins.cost) <= MOST_JOINS:
        return joins
    rank = np.minimum(*(_rank_within(ends, joins.cost) for ends in joins.pair.T))
    first = np.lexsort([joins.cost, rank])[:MOST_JOINS]
    return some_joins(joins, np.sort(first))


def _rank_within(group: NDArray[np.int64], cost: NDArray[np.float64]) -> NDArray[np.int64]:
    """How many of the same group cost less, for each."""
    order = np.lexsort([cost, group])
    first = np.flatnonzero(np.diff(group[order], prepend=-1))
    place = np.arange(len(order))
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = place - np.repeat(first, np.diff(np.append(first, len(order))))
    return rank


def _solve(
    graph: RootGraph, joins: Joins, end_costs: EndCosts, merged: NDArray[np.bool_], rounded: bool
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """How many roots use each join each way, ``(2, T)``, start at and stop at each end, ``(E,)``.

    A root enters an edge at one end and leaves it at the other. For every end,
    roots entering there (by joins or starting) are as many as leave at the
    other end (by joins or stopping); every edge is passed at least once, or is
    left out at a price, and passed more often at a price.
    """
    edge_count, join_count = len(graph.edges), len(joins.cost)
    end_count = 2 * edge_count
    end, join, edge = np.arange(end_count), np.arange(join_count), np.arange(edge_count)
    length_in = np.array([e.length_px for e in graph.edges]) / graph.grid.px_per_in
    climb_px = np.array([e.points_px[0, 1] - e.points_px[-1, 1] for e in graph.edges])
    # Entering at the first point, a root climbs by climb_px; entering at the last, it falls by as much.
    climb_in = np.column_stack([climb_px, -climb_px]).ravel().clip(min=0) / graph.grid.px_per_in
    ahead, back, start, stop, out, more = np.cumsum(
        [0, join_count, join_count, end_count, end_count, edge_count]
    )
    cost = np.concatenate(
        [
            joins.cost,
            joins.cost,
            end_costs.start + RISE_COST_PER_IN * climb_in,
            end_costs.stop,
            LEFT_OUT_COST_PER_IN * length_in,
            np.where(merged, MERGED_COST, SHARED_COST + SHARED_COST_PER_IN * length_in),
        ]
    )
    # A climb is paid on entering: by a start, above, or by a join.
    cost[ahead + join] += RISE_COST_PER_IN * climb_in[joins.pair[:, 1]]
    cost[back + join] += RISE_COST_PER_IN * climb_in[joins.pair[:, 0]]

    via_join = np.repeat(join, [len(v) for v in joins.via])
    via_edge = np.array([e // 2 for v in joins.via for e in v], dtype=np.int64)
    leaves, enters = joins.pair.T  # ahead: out of the first end, into the second
    through = end  # row: entering at `end`, leaving at its edge's other end
    entries = [
        (through[enters], ahead + join, 1.0),
        (through[leaves], back + join, 1.0),
        (through, start + end, 1.0),
        (through[leaves ^ 1], ahead + join, -1.0),
        (through[enters ^ 1], back + join, -1.0),
        (through[end ^ 1], stop + end, -1.0),
        # rows after the ends: passes over each edge, counted where roots enter
        (end_count + via_edge, ahead + via_join, 1.0),
        (end_count + via_edge, back + via_join, 1.0),
        (end_count + enters // 2, ahead + join, 1.0),
        (end_count + leaves // 2, back + join, 1.0),
        (end_count + end // 2, start + end, 1.0),
        (end_count + edge, out + edge, 1.0),
        (end_count + edge, more + edge, -1.0),
    ]
    rows = np.concatenate([r for r, _, _ in entries])
    columns = np.concatenate([c for _, c, _ in entries])
    values = np.concatenate([np.full(len(r), v) for r, _, v in entries])
    matrix = coo_array((values, (rows, columns)), shape=(end_count + edge_count, len(cost))).tocsr()
    right = np.concatenate([np.zeros(end_count), np.ones(edge_count)])
    most = np.full(len(cost), float(MAX_SHARED))
    most[: 2 * join_count] = np.tile(np.where(joins.gap_px > 0, 1, MAX_SHARED), 2)
    most[out:more] = 1
    x, is_whole = _least_cost(cost, matrix, right, most, np.arange(len(cost)) >= start, rounded)
    uses = np.stack([x[:back], x[back:start]])
    if not is_whole:
        return uses, *_starts_and_stops(joins, uses, cost[start:stop], cost[stop:out], cost[out:more])
    return uses, x[start:stop], x[stop:out]


def _starts_and_stops(
    joins: Joins,
    uses: NDArray[np.int64],
    start_cost: NDArray[np.float64],
    stop_cost: NDArray[np.float64],
    left_out_cost: NDArray[np.float64],
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Where roots start and stop, each ``(E,)``, if joins are used so.

    Any uses make whole roots by this. An edge that no join uses is a
    root of its own, if that costs less than to leave it out.
    """
    ends = np.arange(len(start_cost))
    leaves, enters = joins.pair.T
    coming = np.zeros(len(ends), dtype=np.int64)
    going = np.zeros(len(ends), dtype=np.int64)
    for count, out_of, into in ((uses[0], leaves, enters), (uses[1], enters, leaves)):
        np.add.at(coming, into, count)
        np.add.at(going, out_of, count)
    # What comes in at an end goes out at the edge's other end, or stops there.
    starts = np.maximum(going[ends ^ 1] - coming, 0)
    stops = np.maximum(coming[ends ^ 1] - going, 0)
    used = (coming + starts).reshape(-1, 2).sum(axis=1)
    times = uses.sum(axis=0)
    for join in np.flatnonzero(times).tolist():
        used[[end // 2 for end in joins.via[join]]] += times[join]
    alone_cost = (start_cost + stop_cost[ends ^ 1]).reshape(-1, 2)
    alone = np.flatnonzero((used == 0) & (alone_cost.min(axis=1) < left_out_cost))
    first = 2 * alone + alone_cost[alone].argmin(axis=1)
    starts[first] += 1
    stops[first ^ 1] += 1
    return starts, stops


def _least_cost(
    cost: NDArray[np.float64],
    matrix: csr_array,
    right: NDArray[np.float64],
    most: NDArray[np.float64],
    always: NDArray[np.bool_],
    rounded: bool,
) -> tuple[NDArray[np.int64], bool]:
    """Whole numbers ``0 <= x <= most`` with ``matrix @ x = right`` and least ``cost @ x``; whether they are.

    The relaxed problem, in fractions, is nearly whole by itself, and on half of the walls wholly. Its
    reduced costs say what one use of each unused unknown would add at least; those that would add more than
    the relaxed problem is as a rule wrong by are left out of the integer problem, but for the ones that
    keep it solvable (``always``). Where
    ``rounded`` numbers do, or that is too large, or not solved in so many branchings, the relaxed
    problem's own numbers are rounded, which keeps ``matrix @ x = right`` only nearly.
    """
    relaxed = linprog(
        cost, A_eq=matrix, b_eq=right, bounds=np.column_stack([0 * most, most]), method="highs-ds"
    )
    nearest = np.round(relaxed.x)
    if np.abs(relaxed.x - nearest).max() < AS_GOOD_AS_WHOLE:
        return nearest.astype(np.int64), True
    hopeless = (relaxed.x < 1e-9) & (relaxed.lower.marginals > HOPELESS_COST) & ~always
    found = None
    if not rounded and np.count_nonzero(~hopeless) <= MOST_UNKNOWNS:
        # Bounded by size and branchings and not by time, so that a busy machine finds what an idle one finds.
        found = milp(
            cost,
            constraints=LinearConstraint(matrix, right, right),
            bounds=Bounds(0, np.where(hopeless, 0.0, most)),
            integrality=np.ones(len(cost)),
            options={"mip_rel_gap": 2e-3, "node_limit": MAX_NODES},
        ).x
    return (nearest if found is None else np.round(found)).astype(np.int64), found is not None


def _walk(
    graph: RootGraph,
    ends: Ends,
    joins: Joins,
    uses: NDArray[np.int64],
    starts: NDArray[np.int64],
    stops: NDArray[np.int64],
) -> list[list[Step]]:
    """Take the flow apart into single paths, base first.

    Every use of a join is a *link* out of one end and into another. On each
    edge the links that come in are matched to those that go out.
    """
    del stops  # what is left over on leaving stops
    join_of = np.concatenate([np.repeat(np.arange(len(uses[0])), u) for u in uses])
    is_ahead = np.arange(len(join_of)) < uses[0].sum()
    out_end = np.concatenate([np.repeat(joins.pair[:, 0], uses[0]), np.repeat(joins.pair[:, 1], uses[1])])
    in_end = np.concatenate([np.repeat(joins.pair[:, 1], uses[0]), np.repeat(joins.pair[:, 0], uses[1])])
    gap = np.concatenate([np.repeat(joins.gap_px, uses[0]), np.repeat(joins.gap_px, uses[1])]) > 0
    known = {(a, b): c for (a, b), c in zip(joins.pair.tolist(), joins.cost.tolist(), strict=True)}
    entering: list[list[int]] = [[] for _ in ends.node]
    leaving: list[list[int]] = [[] for _ in ends.node]
    for link, (out, into) in enumerate(zip(out_end.tolist(), in_end.tolist(), strict=True)):
        leaving[out].append(link)
        entering[into].append(link)
    onward: dict[int, int] = {}
    begun: list[tuple[int, int | None]] = []  # end where a root starts, link it leaves that edge by
    for end in range(len(ends.node)):
        coming, going = entering[end], leaving[end ^ 1]
        came_from = [int(out_end[k]) for k in coming] + [-1] * int(starts[end])
        goes_to = [int(in_end[k]) for k in going] + [-1] * (len(came_from) - len(going))
        for i, j in _match(came_from, goes_to, ends, end, graph.grid.px_per_in, known):
            link_out: int | None = going[j] if j < len(going) else None
            if i < len(coming):
                if link_out is not None:
                    onward[coming[i]] = link_out
            else:
                begun.append((end, link_out))
    begun += _rings_opened(onward, [link for _, link in begun], in_end, joins.cost[join_of])
    paths: list[list[Step]] = []
    for end, begun_with in begun:
        next_link: int | None = begun_with
        path = [Step.entering(end, False)]
        while next_link is not None:
            into = int(in_end[next_link])
            via = joins.via[join_of[next_link]]
            for end_in in via if is_ahead[next_link] else [e ^ 1 for e in via[::-1]]:
                path.append(Step.entering(end_in, False))
            path.append(Step.entering(into, bool(gap[next_link])))
            next_link = onward.get(next_link)
        paths.append(path)
    return paths


def _rings_opened(
    onward: dict[int, int],
    first_links: list[int | None],
    in_end: NDArray[np.int64],
    cost: NDArray[np.float64],
) -> list[tuple[int, int | None]]:
    """Where roots start that would go round and round: after the dearest link of each ring, which goes.

    A ring costs no start and no stop, so that a flow may hold one. As many roots come to an edge as leave
    it or stop there, so that what no start leads to is on a ring.
    """
    left = dict(onward)
    for link in first_links:
        while link is not None:
            link = left.pop(link, None)
    opened: list[tuple[int, int | None]] = []
    while left:
        ring = [next(iter(left))]
        while (after := left.pop(ring[-1])) != ring[0]:
            ring.append(after)
        dearest = max(ring, key=lambda link: float(cost[link]))
        before = ring[ring.index(dearest) - 1]
        del onward[before]
        opened.append((int(in_end[dearest]), onward[dearest]))
    return opened


def _match(
    came_from: list[int],
    goes_to: list[int],
    ends: Ends,
    end: int,
    px_per_in: float,
    known: dict[tuple[int, int], float],
) -> list[tuple[int, int]]:
    """Which root coming in at ``end`` goes out which way at the other end of the edge; -1 is none.

    ``known`` costs of joins from one side of the edge to the other count where there are any for all.
    """
    if len(came_from) <= 1:
        return [(0, 0)] if came_from else []
    sides = []
    for others, here, sign in ((came_from, end, -1), (goes_to, end ^ 1, 1)):
        across = sign * np.array([-ends.heading[here][1], ends.heading[here][0]])
        side = np.array(
            [(ends.place_px[o] - ends.place_px[here]) @ across if o >= 0 else 0.0 for o in others]
        )
        sides.append(np.argsort(np.argsort(side)) / max(len(side) - 1, 1))
    # Roots that run along each other keep their sides, their widths and their directions.
    cost = np.abs(sides[0][:, None] - sides[1][None])
    pair = np.array([(a, b) for a in came_from for b in goes_to], dtype=np.int64)
    both = (pair >= 0).all(axis=1)
    further = np.zeros(len(pair))
    over = np.array([known.get((min(a, b), max(a, b)), np.nan) for a, b in pair[both].tolist()])
    if np.isfinite(over).all():
        further[both] = np.minimum(over, MAX_MATCH_COST)
    else:
        features = bend_features(ends, pair[both])[0] | width_features(
            ends, pair[both], np.zeros(int(both.sum())), px_per_in
        )
        further[both] = np.minimum(weigh(features), MAX_MATCH_COST)
    cost += further.reshape(cost.shape)
    return [(int(i), int(j)) for i, j in zip(*linear_sum_assignment(cost), strict=True)]

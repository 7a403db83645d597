"""A closer look at each join: what a small trained network says of its strip.

The weighted sum of ``joincost`` knows angles, widths and gaps; the network sees
whether edges, shade and colour run straight through. It was trained on made
walls alone (see ``rootread.train.joins``), on nearly the same conditional likelihood,
so that its costs are negative log-odds too.
"""

from dataclasses import replace
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rootread.follow.ends import Ends
from rootread.follow.joincost import (
    BY_FIRST,
    BY_SECOND,
    MAX_DIP,
    askew_deg,
    bend_features,
    places_between,
    waviness,
)
from rootread.follow.joins import MERGED_COST, Joins, share_hidden, some_joins
from rootread.follow.likelihood import EndCosts
from rootread.follow.strands import Strands
from rootread.follow.strips import strip_lines, strip_pictures
from rootread.follow.types import RootGraph, Step
from rootread.threads import both, open_network, share_out

WEIGHTS = "weights/joins.onnx"
RANKS = 6
"""Looked at are the cheapest this many joins of each end."""
MOST_LOOKS = 9_000
"""Walls full of roots ask for up to 8,600; of more, fewer of each end are looked at."""
MAX_COST = 10.0
"""Joins that cost more so far, by the weighted sum as a rule, are not looked at, and pay for that."""
NOT_LOOKED_AT_COST = 3.0
SURENESS = 1.5
CHOSEN_COST = 0.7
"""The network's chances count to this power, and each join is this much dearer besides: of many joins a flow
of roots takes those that look cheap, some of them by chance. Of 860 main roots of made walls kept from
training 644 are whole and 4.2 % of the traces join two; at 0.3 they are 639 and 4.4 (of 913 twisted ones
645 and 8.5, 647 and 9.1), all before turns were held to 120 degrees."""
HIDDEN_SHARE = 0.3
"""Ways that run this far behind the scale object show nothing, and keep their cost."""
BATCH = 32
"""Strips at a time, always as many: onnxruntime keeps memory for every number it meets. Few fit the cache."""
FACTS = 31
NO_RIVAL_COST = 8.0
"""Of an end with no other join, and the most that another counts for."""


def look_at_joins(
    joins: Joins, graph: RootGraph, ends: Ends, costs: EndCosts, paths: list[list[Step]], strands: Strands
) -> Joins:
    """The same joins with costs by the network, for the flow to choose by.

    ``paths`` are the roots found so far, along which strips lead back.
    """
    if len(joins.cost) == 0:
        return joins
    seen = worth_a_look(joins)
    some = some_joins(joins, seen)
    facts = join_facts(some, graph, ends, costs, strands)
    lines, layers = both(lambda: strip_lines(graph, ends, some, paths), lambda: strands.layers)
    network = _network()

    def look(part: NDArray[np.int64]) -> NDArray[np.float32]:
        costs_said: NDArray[np.float32] = network(
            strip_pictures(lines.some(part), layers, graph.grid.px_per_in), facts[part]
        )
        return costs_said

    # While one batch's strips are cut, the network looks at another's.
    none = np.zeros(0, np.float32)
    said = np.concatenate([none, *share_out(look, batches(len(seen), BATCH))])[: len(seen)]
    on_merged = ends.merged[some.pair // 2].sum(axis=1)
    # From log-odds to the negative logarithm of a chance: never below nought, however sure the network is.
    said = SURENESS * np.logaddexp(0, said) + np.where(some.gap_px > 0, 0.0, MERGED_COST * on_merged)
    cost = joins.cost + NOT_LOOKED_AT_COST
    cost[seen] = np.where(share_hidden(ends, some.pair, strands) > HIDDEN_SHARE, some.cost, said)
    return replace(joins, cost=cost + CHOSEN_COST)


def worth_a_look(joins: Joins) -> NDArray[np.int64]:
    """Joins that cost little enough and are among the cheapest of one of their ends."""
    end = joins.pair.T.ravel()
    join = np.tile(np.arange(len(joins.cost)), 2)
    order = np.lexsort((joins.cost[join], end))
    end, join = end[order], join[order]
    first = np.searchsorted(end, end)
    rank, cheap = np.arange(len(end)) - first, joins.cost[join] < MAX_COST
    for ranks in range(RANKS, 0, -1):
        seen = np.unique(join[cheap & (rank < ranks)])
        if len(seen) <= MOST_LOOKS:
            break
    return seen


def join_facts(
    joins: Joins, graph: RootGraph, ends: Ends, costs: EndCosts, strands: Strands
) -> NDArray[np.float32]:
    """``(T, 31)`` what is known of each join besides its strip, its cost so far first."""
    px_per_in = graph.grid.px_per_in
    a, b = joins.pair.T
    distance_in = np.hypot(*(ends.place_px[b] - ends.place_px[a]).T) / px_per_in
    log_width = np.log(np.maximum(ends.width_px / px_per_in, 0.01))
    arm_in = ends.arm_px / px_per_in
    bend, _ = bend_features(ends, joins.pair)
    upright = np.abs(ends.heading[:, 1])
    return np.column_stack(
        [
            joins.cost,
            joins.gap_px > 0,
            distance_in,
            np.sqrt(distance_in),
            -np.einsum("ij,ij->i", ends.heading[a], ends.heading[b]),
            np.minimum(log_width[a], log_width[b]),
            np.abs(log_width[a] - log_width[b]),
            [len(via) for via in joins.via],
            arm_in[a] + arm_in[b],
            np.minimum(arm_in[a], arm_in[b]),
            (ends.node[a] >= 0).astype(float) + (ends.node[b] >= 0),
            np.hypot(*(ends.colour[a] - ends.colour[b]).T),
            upright[a] + upright[b],
            costs.start[a] + costs.start[b],
            costs.stop[a] + costs.stop[b],
            np.full(len(a), px_per_in / 72.0),
            *_on_the_way(joins, ends, strands),
            bend["turn"],
            bend["sidestep"],
            np.full(len(a), waviness(ends)),
            *np.sort(rival_costs(joins, len(ends.node)), axis=0),
            *np.sort(askew_deg(ends, joins.pair).T, axis=0),
        ]
    ).astype(np.float32)


def rival_costs(joins: Joins, end_count: int) -> NDArray[np.float64]:
    """``(2, T)`` cost of the cheapest other join at the first and at the second end of each.

    The same two ends joined another way count as another join, too.
    """
    count = len(joins.cost)
    end, join = joins.pair.T.ravel(), np.tile(np.arange(count), 2)
    order = np.lexsort((joins.cost[join], end))
    end, cost = end[order], joins.cost[join[order]]
    first = np.searchsorted(end, np.arange(end_count))
    # The cheapest join at an end has the next one as its rival, every other has the cheapest.
    rival = np.empty(2 * count)
    place = np.arange(2 * count)
    is_first = place == first[end]
    has_next = np.append(end[1:] == end[:-1], False)
    rival[order] = np.where(
        is_first, np.where(has_next, np.append(cost[1:], 0.0), NO_RIVAL_COST), cost[first[end]]
    )
    return np.minimum(rival, NO_RIVAL_COST).reshape(2, count)


def _on_the_way(joins: Joins, ends: Ends, strands: Strands) -> list[NDArray[np.float64]]:
    """What lies on the straight way between the ends of each join: seams, roots, and the darkest line.

    A root that goes on beneath another leaves a seam on each side of that one.
    """
    between = places_between(ends, joins.pair, strands.mask.shape)
    seam, strand, root, dip = (
        image[between].astype(float)
        for image in (strands.seam, strands.mask, strands.whole_mask, strands.dip)
    )
    middle = slice(4, -4)
    beside = np.stack([seam[BY_FIRST].max(axis=0), seam[BY_SECOND].max(axis=0)])
    return [
        beside.sum(axis=0),
        beside.min(axis=0),
        seam[middle].max(axis=0),
        seam.mean(axis=0),
        strand[middle].mean(axis=0),
        strand.mean(axis=0),
        root.mean(axis=0),
        dip.clip(0, MAX_DIP).max(axis=0),
    ]


def batches(count: int, size: int) -> NDArray[np.int64]:
    """``(B, size)`` places ``0 ... count - 1``; the last batch is filled up with the last place."""
    places = np.arange(-(-count // size) * size)
    return np.minimum(places, count - 1).reshape(-1, size)


@lru_cache(maxsize=1)
def _network() -> Any:
    """The network that comes with the package, as a function of strips and facts."""
    session = open_network(files("rootread.follow").joinpath(WEIGHTS).read_bytes())
    return lambda strips, facts: session.run(["cost"], {"strips": strips, "facts": facts})[0]

"""Strips of joins with their truth, from made walls.

usage: python -m rootread.train.joins.walls FOLDER [--seconds S] [--workers N] [--first-seed SEED]

Walls are drawn, photographed and read up to their joins by worker processes
until the time is over; FOLDER receives one file a wall.
"""

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rootread.errors import WallRefused
from rootread.follow.ends import edge_ends, ends_in_context
from rootread.follow.eye import join_facts, worth_a_look
from rootread.follow.graph import graph_of_strands
from rootread.follow.joins import possible_joins, some_joins
from rootread.follow.likelihood import end_costs
from rootread.follow.paths import choose_paths
from rootread.follow.strips import strip_lines, strip_pictures
from rootread.settings import Settings
from rootread.train.joins.truth import members, right_joins
from rootread.train.made import make_walls, read_made

FIRST_SEED = 710_000
"""Seeds below 800000 may be learnt from."""
MOST_JOINS = 3500
"""Of one wall, so that no crowded wall rules."""


def join_examples(photo: Path, truth: dict[str, Any], rng: np.random.Generator) -> dict[str, NDArray[Any]]:
    """What is learnt from one made photo.

    Returns
    -------
    ``strips`` ``(T, 5, 24, 128)``, ``facts`` ``(T, 31)``, ``pair`` ``(T, 2)`` and ``right`` ``(T,)`` of the
    joins; for every end, ``(E,)``, ``apart``, the cost of ending there, and ``learnt``: it is of some true
    root, and all its joins are there.
    """
    settings = Settings().follow
    plane, image, strands = read_made(photo)
    graph = graph_of_strands(strands)
    if not graph.edges:
        raise WallRefused("no root is found on it", "Make another.")
    ends = edge_ends(graph, image.rgb)
    costs = end_costs(graph, ends, strands.soil, plane.surface)
    paths = choose_paths(graph, ends, possible_joins(graph, ends, strands, settings), costs, rounded=True)
    ends = ends_in_context(graph, ends, paths, image.rgb)
    joins = possible_joins(graph, ends, strands, settings)
    joins = some_joins(joins, worth_a_look(joins))
    facts = join_facts(joins, graph, ends, costs, strands)
    held = members(graph, ends, plane, truth)
    learnt = np.array([len(m) > 0 for m in held])
    if len(joins.cost) > MOST_JOINS:
        rank = rng.permutation(len(learnt))
        first = rank[joins.pair].min(axis=1)
        limit = np.sort(first)[MOST_JOINS]
        joins, facts = some_joins(joins, np.flatnonzero(first < limit)), facts[first < limit]
        learnt &= rank < limit
    lines = strip_lines(graph, ends, joins, paths)
    way = np.array([m[0].outward if m else 0.0 for m in held])
    either = np.minimum(costs.stop, costs.start)
    return {
        "strips": strip_pictures(lines, strands.layers, graph.grid.px_per_in),
        "facts": facts,
        "pair": joins.pair.astype(np.int32),
        "right": right_joins(joins, held, ends, graph.grid.px_per_in),
        "apart": np.where(way > 0, costs.stop, np.where(way < 0, costs.start, either)).astype(np.float32),
        "learnt": learnt,
    }


if __name__ == "__main__":
    make_walls(__doc__ or "", FIRST_SEED, join_examples)

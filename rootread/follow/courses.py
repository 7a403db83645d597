"""From root pixels to the courses of whole roots."""

import numpy as np

from rootread.find.types import RootMap
from rootread.follow.centreline import path_centreline
from rootread.follow.ends import edge_ends, ends_in_context
from rootread.follow.eye import look_at_joins
from rootread.follow.graph import graph_of_strands
from rootread.follow.joins import MAX_COVERED_GAP, possible_joins
from rootread.follow.likelihood import end_costs
from rootread.follow.lineage import find_lineage
from rootread.follow.nets import refuse_near_ends
from rootread.follow.paths import choose_paths
from rootread.follow.strands import find_strands
from rootread.follow.types import Trace
from rootread.geometry import Points
from rootread.plane.types import Surface, WallImage
from rootread.settings import FollowSettings

LITTER_IN = 0.4
"""Roots come out of their crown deeper than this."""


def is_litter(line_in: Points, surface: Surface) -> bool:
    """Whether a line lies on the soil surface from end to end, as straw does."""
    surface_in = np.interp(line_in[:, 0], *surface.line_in.T)
    return bool((line_in[:, 1] - surface_in).max() < LITTER_IN)


def follow_courses(
    root_map: RootMap, image: WallImage, surface: Surface, settings: FollowSettings
) -> tuple[Trace, ...]:
    """The courses of whole roots, base first, with widths as wide as the mask and no confidence yet."""
    strands = find_strands(root_map, image)
    graph = graph_of_strands(strands)
    if not graph.edges:
        return ()
    grid = root_map.grid
    ends = edge_ends(graph, image.rgb)
    refuse_near_ends(ends.place_px, grid.px_per_in, MAX_COVERED_GAP * settings.max_gap_in)
    costs = end_costs(graph, ends, strands.soil, surface)
    paths = choose_paths(graph, ends, possible_joins(graph, ends, strands, settings), costs, rounded=True)
    # A second look: with the first roots known, every end knows better where it comes from,
    # and a strip of the photo along each join can be looked at.
    seen = ends_in_context(graph, ends, paths, image.rgb)
    joins = possible_joins(graph, seen, strands, settings)
    paths = choose_paths(graph, seen, look_at_joins(joins, graph, seen, costs, paths, strands), costs)
    lines, widths, bridged = [], [], []
    for path in paths:
        points_px, width_px, inferred = path_centreline(graph, ends, path)
        line = grid.to_in(points_px)
        if np.hypot(*np.diff(line, axis=0).T).sum() < settings.min_length_in or is_litter(line, surface):
            continue
        lines.append(line)
        widths.append(width_px / grid.px_per_in)
        bridged.append(inferred)
    lineage = find_lineage(lines, widths, surface)
    # Ids go with order, then with the place of the base, so that they are the same from run to run.
    base = np.array(
        [line[-1] if back else line[0] for line, back in zip(lines, lineage.reverse, strict=True)]
    ).reshape(-1, 2)
    ranking = np.lexsort((base[:, 1].round(2), base[:, 0].round(2), lineage.order))
    names = {int(root): f"r{rank + 1:03d}" for rank, root in enumerate(ranking)}
    traces = []
    for root in ranking.tolist():
        way = -1 if lineage.reverse[root] else 1
        traces.append(
            Trace(
                id=names[root],
                order=int(lineage.order[root]),
                parent=names.get(int(lineage.parent[root])),
                points=lines[root][::way],
                width_in=widths[root][::way],
                inferred=bridged[root][::way],
                confidence=0.5,
            )
        )
    return tuple(traces)

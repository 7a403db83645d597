"""From root pixels to the courses of whole roots."""

import numpy as np

from rootread.find.types import RootMap
from rootread.follow.centreline import STEP_PX, path_centreline
from rootread.follow.climbs import parted_at_climbs
from rootread.follow.encounters import Course
from rootread.follow.ends import edge_ends, ends_in_context
from rootread.follow.eye import look_at_joins
from rootread.follow.graph import graph_of_strands
from rootread.follow.joins import MAX_COVERED_GAP, possible_joins
from rootread.follow.likelihood import end_costs
from rootread.follow.lineage import find_lineage
from rootread.follow.nets import refuse_near_ends
from rootread.follow.paths import choose_paths
from rootread.follow.regroup import View, regrouped
from rootread.follow.strands import Strands, find_strands
from rootread.follow.strays import strays
from rootread.follow.types import Trace
from rootread.geometry import Points, arc_length
from rootread.plane.types import Surface, WallImage
from rootread.settings import FollowSettings
from rootread.threads import begun

LITTER_IN = 0.4
"""Roots come out of their crown deeper than this."""
LEAST_PAINTED_IN = 0.25
"""A stroke over so much of a root says that it is one."""


def is_litter(line_in: Points, surface: Surface) -> bool:
    """Whether a line lies on the soil surface from end to end, as straw does."""
    surface_in = np.interp(line_in[:, 0], *surface.line_in.T)
    return bool((line_in[:, 1] - surface_in).max() < LITTER_IN)


def follow_courses(
    root_map: RootMap, image: WallImage, surface: Surface, settings: FollowSettings
) -> tuple[Trace, ...]:
    """The courses of whole roots, base first, with widths as wide as the mask and no confidence yet."""
    strands = find_strands(root_map, image)
    # The first roots leave a core free for a while.
    view = begun(lambda: View.of(image, strands, surface))
    first = flow_courses(strands, image, surface, settings)
    found = parted_at_climbs(regrouped(first, view()))
    courses = _without_strays(
        [
            course
            for course in found
            if arc_length(course.line_in)[-1] >= settings.min_length_in
            and not is_litter(course.line_in, surface)
        ],
        root_map,
        surface,
    )
    lineage = find_lineage([c.line_in for c in courses], [c.width_in for c in courses], surface)
    courses = [c.turned() if back else c for c, back in zip(courses, lineage.reverse, strict=True)]
    # Ids go with order, then with the place of the base, so that they are the same from run to run.
    base = np.array([course.line_in[0] for course in courses]).reshape(-1, 2)
    ranking = np.lexsort((base[:, 1].round(2), base[:, 0].round(2), lineage.order))
    names = {int(root): f"r{rank + 1:03d}" for rank, root in enumerate(ranking)}
    return tuple(
        Trace(
            id=names[root],
            order=int(lineage.order[root]),
            parent=names.get(int(lineage.parent[root])),
            points=courses[root].line_in,
            width_in=courses[root].width_in,
            inferred=courses[root].inferred,
            confidence=0.5,
        )
        for root in ranking.tolist()
    )


def _without_strays(courses: list[Course], root_map: RootMap, surface: Surface) -> list[Course]:
    """The courses but for those that hang on nothing."""
    painted = [_is_painted(course, root_map) for course in courses]
    stray = strays([course.line_in for course in courses], surface, painted)
    return [course for course, hangs_on_none in zip(courses, stray, strict=True) if not hangs_on_none]


def _is_painted(course: Course, root_map: RootMap) -> bool:
    """Whether a person's stroke says of some of it that it is root."""
    if root_map.painted is None:
        return False
    rows, columns = root_map.painted.shape
    column, row = np.round(root_map.grid.to_px(course.line_in)).astype(int).T
    painted = root_map.painted[row.clip(0, rows - 1), column.clip(0, columns - 1)]
    return bool(painted.sum() * STEP_PX / root_map.grid.px_per_in >= LEAST_PAINTED_IN)


def flow_courses(
    strands: Strands, image: WallImage, surface: Surface, settings: FollowSettings
) -> list[Course]:
    """The courses of the cheapest set of roots that explains the mask."""
    graph = graph_of_strands(strands)
    if not graph.edges:
        return []
    grid = strands.grid
    ends = edge_ends(graph, image.rgb)
    refuse_near_ends(ends.place_px, grid.px_per_in, MAX_COVERED_GAP * settings.max_gap_in)
    costs = end_costs(graph, ends, strands.soil, surface)
    paths = choose_paths(graph, ends, possible_joins(graph, ends, strands, settings), costs, rounded=True)
    # A second look: with the first roots known, every end knows better where it comes from,
    # and a strip of the photo along each join can be looked at.
    seen = ends_in_context(graph, ends, paths, image.rgb)
    joins = possible_joins(graph, seen, strands, settings)
    paths = choose_paths(graph, seen, look_at_joins(joins, graph, seen, costs, paths, strands), costs)
    courses = []
    for path in paths:
        points_px, width_px, inferred = path_centreline(graph, ends, path)
        courses.append(Course(grid.to_in(points_px), width_px / grid.px_per_in, inferred))
    return courses

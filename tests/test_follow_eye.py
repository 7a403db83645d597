"""Looking at joins: strips of the photo along them, and roots behind the scale object."""

from dataclasses import replace

import numpy as np
import pytest
from drawn_roots import PX_PER_IN, SURFACE, covered, wall_of
from numpy.typing import NDArray

from rootread.find import RootMap
from rootread.follow import follow_roots
from rootread.follow.ends import WIGGLE_DEG, Ends, edge_ends
from rootread.follow.eye import CHOSEN_COST, NOT_LOOKED_AT_COST, RANKS, look_at_joins, worth_a_look
from rootread.follow.graph import graph_of_strands
from rootread.follow.joincost import bend_features, weigh
from rootread.follow.joins import Joins, goes_ahead, possible_joins
from rootread.follow.likelihood import end_costs
from rootread.follow.strands import Strands, find_strands
from rootread.follow.strips import ACROSS, LENGTH, strip_lines, strip_pictures
from rootread.follow.types import RootGraph
from rootread.geometry import Points
from rootread.plane import WallImage
from rootread.settings import FollowSettings

SETTINGS = FollowSettings()
PALE, BROWN, SOIL = (205, 185, 150), (150, 105, 70), (70, 55, 45)


def line(start: tuple[float, float], stop: tuple[float, float]) -> Points:
    return np.linspace(start, stop, 80)


def wall_with(
    roots: list[tuple[Points, tuple[int, int, int]]], width_in: float = 0.12
) -> tuple[RootMap, WallImage]:
    """Roots of given colours on soil, later ones over earlier ones."""
    covers = [covered([root], width_in) for root, _ in roots]
    rgb = np.ones((*covers[0].shape, 3)) * np.array(SOIL)
    for cover, (_, colour) in zip(covers, roots, strict=True):
        rgb += cover[..., None] * (np.array(colour) - rgb)
    root_map, image = wall_of(np.max(covers, axis=0))
    return root_map, replace(image, rgb=rgb.astype(np.uint8))


def joins_of(
    root_map: RootMap, image: WallImage, settings: FollowSettings = SETTINGS
) -> tuple[Strands, RootGraph, Ends, Joins]:
    strands = find_strands(root_map, image)
    graph = graph_of_strands(strands)
    ends = edge_ends(graph, image.rgb)
    return strands, graph, ends, possible_joins(graph, ends, strands, settings)


def strips_of(strands: Strands, graph: RootGraph, ends: Ends, joins: Joins) -> NDArray[np.uint8]:
    return strip_pictures(strip_lines(graph, ends, joins, []), strands.layers, PX_PER_IN)


@pytest.mark.parametrize("angle_deg", [0, 35, 90, 160])
def test_a_strip_along_one_root_shows_it_running_straight_through_the_middle(angle_deg: float) -> None:
    way = 3 * np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])
    middle = np.array([4.5, 4.5])
    pieces = [(line(middle + a * way, middle + b * way), PALE) for a, b in ((-1, -0.08), (0.08, 1))]
    strands, graph, ends, joins = joins_of(*wall_with(pieces))
    first = int(np.argmin(joins.cost))
    strip = strips_of(strands, graph, ends, joins)[first]
    assert strip.shape == (5, ACROSS, LENGTH)
    arms = np.r_[5:40, LENGTH - 40 : LENGTH - 5]
    middle_rows, outer_rows = strip[0][ACROSS // 2 - 2 : ACROSS // 2 + 2], strip[0][[0, 1, -2, -1]]
    assert (middle_rows[:, arms] > 180).all()
    assert (outer_rows[:, arms] < 90).all()
    assert (strip[4] == 255).all()


def test_where_an_arm_is_short_its_strip_says_that_there_is_none() -> None:
    pieces = [(line((1, 4.5), (4.2, 4.5)), PALE), (line((4.7, 4.5), (5.2, 4.5)), PALE)]
    strands, graph, ends, joins = joins_of(*wall_with(pieces))
    strip = strips_of(strands, graph, ends, joins)[int(np.argmin(joins.cost))]
    there = strip[4].max(axis=0) > 0
    assert not there.all() and there[LENGTH // 2]
    assert strip[:, :, ~there].max() == 0


def test_at_a_crossing_of_a_pale_and_a_brown_root_each_goes_on_in_its_colour() -> None:
    """They cross at 25 degrees, where directions alone say little; the brown one lies beneath."""
    across = np.array([3 * np.cos(np.radians(12.5)), 3 * np.sin(np.radians(12.5))])
    middle = np.array([4.5, 4.5])
    brown = line(middle - across, middle + across)
    pale = line(middle + across * [-1, 1], middle + across * [1, -1])
    root_map, image = wall_with([(brown, BROWN), (pale, PALE)])
    strands, graph, ends, joins = joins_of(root_map, image)
    costs = end_costs(graph, ends, strands.soil, SURFACE)
    looked = look_at_joins(joins, graph, ends, costs, [], strands)
    # Of the ends on either side of the middle the partner that costs least lies on the same line; pieces
    # that the crossing itself is made of lie on neither.
    off_in = ends.place_px[looked.pair] / PX_PER_IN - 4.5
    over = np.flatnonzero(
        (off_in[:, 0, 0] * off_in[:, 1, 0] < 0) & (np.abs(off_in[:, :, 1]) > 0.05).all(axis=1)
    )
    assert len(over) > 0
    for join in over[np.argsort(looked.cost[over])[:2]]:
        assert off_in[join, 0, 1] * off_in[join, 1, 1] < 0
    traces = follow_roots(root_map, image, SURFACE, SETTINGS)
    long = [t for t in traces if np.ptp(t.points[:, 0]) > 5]
    assert len(long) == 2
    for trace in long:
        assert np.ptp(trace.points[:, 1]) == pytest.approx(2 * across[1], abs=0.2)


def test_only_the_cheapest_joins_of_an_end_are_looked_at() -> None:
    pair = np.array([[0, k] for k in range(1, 12)], dtype=np.int64)
    joins = Joins(pair, np.arange(11.0), np.zeros(11), ((),) * 11)
    # Each is the only one of its other end, and as such among the cheapest there; the dear one is not.
    assert worth_a_look(joins).tolist() == list(range(10))
    both = np.array([[a, b] for a in range(9) for b in range(9, 18)], dtype=np.int64)
    cost = np.add.outer(np.arange(9.0), np.arange(9.0)).ravel() / 2
    seen = worth_a_look(Joins(both, cost, np.zeros(81), ((),) * 81))
    for end in range(18):
        assert (both[seen] == end).any(axis=1).sum() >= RANKS
    assert len(seen) < 81


def test_where_no_join_is_worth_a_look_all_pay_for_that() -> None:
    root_map, image = wall_with([(line((1.0, 4.5), (8.0, 4.5)), PALE), (line((4.5, 1.0), (4.5, 8.0)), PALE)])
    strands, graph, ends, joins = joins_of(root_map, image)
    dear = replace(joins, cost=joins.cost + 100.0)
    assert len(dear.cost) > 0
    costs = end_costs(graph, ends, strands.soil, SURFACE)
    looked = look_at_joins(dear, graph, ends, costs, [], strands)
    np.testing.assert_array_equal(looked.cost, dear.cost + NOT_LOOKED_AT_COST + CHOSEN_COST)


@pytest.mark.parametrize("wide_in", [1.0, 2.0, 2.6])
def test_a_root_that_passes_behind_the_scale_object_is_one_root(wide_in: float) -> None:
    """A staff is some two inches wide: farther than roots are followed behind soil."""
    left, right = 4.5 - wide_in / 2, 4.5 + wide_in / 2
    slope = np.tan(np.radians(33))
    root = line((1.0, 4.5 - 3.5 * slope), (8.0, 4.5 + 3.5 * slope))
    root_map, image = wall_with([(root, PALE)])
    soil = np.ones(image.soil.shape, dtype=bool)
    soil[:, round(left * PX_PER_IN) : round(right * PX_PER_IN)] = False
    image = replace(image, soil=soil)
    root_map = replace(
        root_map,
        probability=np.where(soil, root_map.probability, 0).astype(np.float32),
        mask=root_map.mask & soil,
    )
    traces = follow_roots(root_map, image, SURFACE, SETTINGS)
    assert len(traces) == 1
    unseen = traces[0].inferred
    assert unseen.any()
    assert np.ptp(traces[0].points[unseen, 0]) == pytest.approx(wide_in, abs=0.3)


def test_two_roots_at_the_object_that_do_not_face_each_other_stay_two() -> None:
    pieces = [(line((1.0, 2.0), (3.4, 3.6)), PALE), (line((5.6, 1.0), (8.0, 2.6)), PALE)]
    root_map, image = wall_with(pieces)
    soil = np.ones(image.soil.shape, dtype=bool)
    soil[:, round(3.5 * PX_PER_IN) : round(5.5 * PX_PER_IN)] = False
    assert len(follow_roots(root_map, replace(image, soil=soil), SURFACE, SETTINGS)) == 2


def test_a_turn_is_dearer_where_roots_run_straight_than_where_they_twist() -> None:
    """A root that swings 0.07 in either way and a straight one; two ends that turn by 30 degrees between."""
    along = np.linspace(0, 6, 240)
    wiggly = np.column_stack([1.5 + along, 4.5 + 0.07 * np.sin(2 * np.pi * along / 0.9)])
    roots = [line((1.5, 4.5), (7.5, 4.5)), wiggly]
    ends = [joins_of(*wall_with([(root, PALE)]))[2] for root in roots]
    assert ends[0].wiggle_deg == WIGGLE_DEG[0] and ends[1].wiggle_deg > 6
    pair = np.array([[0, 1]])
    met = [
        replace(
            one,
            place_px=np.array([[0.0, 0.0], [12.0, 2.0]]),
            heading=np.array([[1.0, 0.0], [-np.cos(np.radians(30)), -np.sin(np.radians(30))]]),
        )
        for one in ends
    ]
    straight, twisted = (weigh(bend_features(one, pair)[0])[0] for one in met)
    assert straight > twisted + 0.5


def test_no_join_goes_over_an_edge_that_leads_back() -> None:
    ends = joins_of(*wall_with([(line((1.5, 4.5), (7.5, 4.5)), PALE)]))[2]
    places = np.array([[0.0, 0.0], [-9.0, 0.0], [10.0, 8.0], [30.0, 9.0], [40.0, 0.0], [60.0, 0.0]])
    six = replace(ends, place_px=places)
    pair = np.array([[0, 4], [0, 4], [0, 4]])
    # Over nothing, over an edge from x = 10 to 30, and over the same from 30 to 10.
    assert goes_ahead(six, pair, [(), (2,), (3,)]).tolist() == [True, True, False]

"""Roots that turn out of sight: where a layer stops them they dip under soil and come out another way."""

from dataclasses import replace

import numpy as np
import pytest
from drawn_roots import PX_PER_IN, covered, wall_of

from rootread.follow.ends import Ends, edge_ends
from rootread.follow.eye import NO_RIVAL_COST, rival_costs
from rootread.follow.graph import graph_of_strands
from rootread.follow.joins import Joins, possible_joins
from rootread.follow.likelihood import EndCosts
from rootread.follow.paths import choose_paths
from rootread.follow.strands import find_strands
from rootread.follow.unseen_turns import NO_WAY_ON_COST, unseen_turns
from rootread.geometry import Points
from rootread.settings import FollowSettings

SETTINGS = FollowSettings()
RUN = np.linspace((1.0, 4.0), (5.0, 4.0), 80)
"""A root that runs level along a layer and ends there."""
NO_JOINS = np.zeros((0, 2), dtype=np.int64), np.zeros(0)


def joins_of(
    lines_in: list[Points], settings: FollowSettings = SETTINGS, widths_in: float | list[float] = 0.12
) -> tuple[Ends, Joins]:
    root_map, image = wall_of(covered(lines_in, widths_in))
    strands = find_strands(root_map, image)
    graph = graph_of_strands(strands)
    ends = edge_ends(graph, image.rgb)
    return ends, possible_joins(graph, ends, strands, settings)


def joined(ends: Ends, joins: Joins, one_in: tuple[float, float], other_in: tuple[float, float]) -> bool:
    """Whether the end nearest to one place may be joined to that nearest to another."""
    asked = sorted(
        int(np.hypot(*(ends.place_px - PX_PER_IN * np.array(place)).T).argmin())
        for place in (one_in, other_in)
    )
    return asked in joins.pair.tolist()


def down_from(x_in: float, z_in: float) -> Points:
    return np.linspace((x_in, z_in), (x_in + 0.1, z_in + 4.0), 80)


def test_a_run_and_a_root_that_begins_below_its_end_may_be_one_root() -> None:
    assert joined(*joins_of([RUN, down_from(5.2, 4.3)]), (5.0, 4.0), (5.2, 4.3))


def test_so_they_may_in_the_mirrored_wall() -> None:
    mirrored = [line * [-1, 1] + [9.0, 0.0] for line in (RUN, down_from(5.2, 4.3))]
    assert joined(*joins_of(mirrored), (4.0, 4.0), (3.8, 4.3))


def test_a_root_that_begins_an_inch_aside_is_another() -> None:
    assert not joined(*joins_of([RUN, down_from(5.1, 5.1)]), (5.0, 4.0), (5.1, 5.1))


def test_a_root_that_begins_behind_the_end_is_another() -> None:
    assert not joined(*joins_of([RUN, down_from(4.6, 4.2)]), (5.0, 4.0), (4.6, 4.2))


def test_a_run_that_goes_straight_on_is_not_asked_for_an_unseen_turn() -> None:
    on = np.linspace((5.3, 4.0), (8.0, 4.0), 80)
    ends, joins = joins_of([RUN, on, down_from(5.2, 4.3)])
    assert joined(ends, joins, (5.0, 4.0), (5.3, 4.0))
    assert not joined(ends, joins, (5.0, 4.0), (5.2, 4.3))


@pytest.mark.parametrize("apart_in", [0.25, 0.4])
def test_roots_side_by_side_are_not_joined_at_their_ends(apart_in: float) -> None:
    ends, _ = joins_of([RUN, RUN + np.array([0.0, apart_in])])
    pairs, _ = unseen_turns(ends, *NO_JOINS, SETTINGS.max_gap_in, PX_PER_IN)
    assert len(pairs) == 0


def test_roots_that_would_go_round_and_round_are_cut_at_the_dearest_join() -> None:
    root_map, image = wall_of(covered([RUN, RUN + np.array([0.0, 1.0])], 0.12))
    graph = graph_of_strands(find_strands(root_map, image))
    ends = edge_ends(graph, image.rgb)
    left, right = ([2 * k + side for k in (0, 1)] for side in (0, 1))
    joins = Joins(np.array([left, right]), np.array([0.5, 0.1]), np.full(2, 60.0), ((), ()))
    costly = EndCosts(np.full(4, 5.0), np.full(4, 5.0), np.zeros(4, dtype=bool))
    (path,) = choose_paths(graph, ends, joins, costly)
    assert sorted((path[0].leaves, path[1].enters)) == right


def test_no_turn_hides_more_of_a_root_than_the_longest_gap() -> None:
    short = replace(SETTINGS, max_gap_in=0.2)
    assert not joined(*joins_of([RUN, down_from(5.2, 4.3)], short), (5.0, 4.0), (5.2, 4.3))


def test_an_unseen_turn_is_the_dearer_the_farther_aside_the_root_begins() -> None:
    costs = []
    for aside_in in (0.15, 0.25, 0.35):
        ends, _ = joins_of([RUN, down_from(5.0 + aside_in, 4.0 + aside_in)])
        _, cost = unseen_turns(ends, *NO_JOINS, SETTINGS.max_gap_in, PX_PER_IN)
        costs.append(cost.min())
    assert costs == sorted(costs)
    assert len(set(costs)) == 3


def test_an_unseen_turn_is_the_likelier_the_less_likely_the_ways_straight_on() -> None:
    ends, _ = joins_of([RUN, down_from(5.2, 4.3)])
    alone, cost_alone = unseen_turns(ends, *NO_JOINS, SETTINGS.max_gap_in, PX_PER_IN)
    # One of the two ends has a way straight on to somewhere else, at half of the most that is counted.
    other = next(end for end in range(len(ends.node)) if end not in alone)
    rival = np.sort([[alone[0, 0], other]], axis=1), np.array([NO_WAY_ON_COST / 2])
    _, cost_rival = unseen_turns(ends, *rival, SETTINGS.max_gap_in, PX_PER_IN)
    assert cost_alone[0] < cost_rival[0]


@pytest.mark.parametrize(("cost", "thought_of"), [(-0.1, 0), (0.1, 1)])
def test_an_end_with_a_likely_way_straight_on_is_asked_for_no_turn(cost: float, thought_of: int) -> None:
    ends, _ = joins_of([RUN, down_from(5.2, 4.3)])
    alone, _ = unseen_turns(ends, *NO_JOINS, SETTINGS.max_gap_in, PX_PER_IN)
    other = next(end for end in range(len(ends.node)) if end not in alone)
    rival = np.sort([[alone[0, 0], other]], axis=1), np.array([cost])
    pairs, _ = unseen_turns(ends, *rival, SETTINGS.max_gap_in, PX_PER_IN)
    assert len(pairs) == thought_of


@pytest.mark.parametrize(("width_in", "thought_of"), [(0.2, 1), (0.36, 0)])
def test_a_root_three_times_as_wide_is_another(width_in: float, thought_of: int) -> None:
    ends, _ = joins_of([RUN, down_from(5.2, 4.3)], widths_in=[0.12, width_in])
    pairs, _ = unseen_turns(ends, *NO_JOINS, SETTINGS.max_gap_in, PX_PER_IN)
    assert len(pairs) == thought_of


def test_a_joins_rival_at_an_end_is_the_cheapest_other_there() -> None:
    pair = np.array([[0, 2], [0, 4], [2, 4], [6, 8]])
    joins = Joins(pair, np.array([1.0, 3.0, 2.0, 0.5]), np.zeros(4), ((),) * 4)
    first, second = rival_costs(joins, 10)
    assert first.tolist() == [3.0, 1.0, 1.0, NO_RIVAL_COST]
    assert second.tolist() == [2.0, 2.0, 3.0, NO_RIVAL_COST]

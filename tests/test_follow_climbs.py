"""Roots grow down: what goes far down and far up again is of two roots, unless it is seen, and alone."""

import numpy as np
import pytest
from drawn_roots import SIDE_IN, followed

from rootread.follow.climbs import FARTHEST_IN, parted_at_climbs, turns
from rootread.follow.encounters import Course
from rootread.geometry import arc_length, resample_polyline

STEP_IN = 0.02
Place = tuple[float, float]


def course(*corners_in: Place, hidden_in: tuple[float, float] = (0.0, 0.0)) -> Course:
    """A course along straight lines between corners, x and z, hidden between two lengths along it."""
    line, at = resample_polyline(np.array(corners_in), STEP_IN)
    return Course(line, np.full(len(line), 0.06), (at > hidden_in[0]) & (at < hidden_in[1]))


def ends(parts: list[Course]) -> list[list[list[float]]]:
    """First and last point of each course, to a tenth of an inch."""
    return [np.round(part.line_in[[0, -1]], 1).tolist() for part in parts]


CROWN = ((-6.0, 8.0), (0.0, 1.0), (5.0, 11.0))
"""Down one root of a crown, walked from its tip, and on down another."""
ABOVE_IN = float(np.hypot(6, 7))
"""As far along as the crown."""


def test_roots_of_one_crown_that_a_bridge_made_one_are_parted_at_the_bridge() -> None:
    bridged = course(*CROWN, hidden_in=(ABOVE_IN - 0.2, ABOVE_IN + 0.2))
    assert ends(parted_at_climbs([bridged])) == [[[-6, 8], [0, 1]], [[0, 1], [5, 11]]]


def test_roots_that_cross_and_were_taken_for_one_are_parted_where_they_meet() -> None:
    """Each was followed down to the crossing and up the other, or up to it and down."""
    upper, lower = course((-4, 1), (0, 6), (4, 1)), course((-4, 11), (0, 6), (4, 11))
    upper_parts, lower_parts = [[-4, 1], [0, 6]], [[-4, 11], [0, 6]]
    parts = parted_at_climbs([upper, lower])
    assert ends(parts) == [upper_parts, [[0, 6], [4, 1]], lower_parts, [[0, 6], [4, 11]]]


def test_a_root_that_is_seen_through_its_turn_and_alone_is_one() -> None:
    far = course((-6, 12), (6, 12))
    assert len(parted_at_climbs([course(*CROWN), far])) == 2


def test_only_what_is_near_the_turn_makes_it_doubtful() -> None:
    """A root climbs for less than two inches, so that it was taken for another below three inches here."""
    crossing = course((-4, 4), (-2, 4))
    bridged = course(*CROWN, hidden_in=(ABOVE_IN + 2.5, ABOVE_IN + 3.5))
    assert len(parted_at_climbs([bridged, crossing])) == 2


def test_a_course_is_parted_at_the_doubtful_place_that_leaves_least_of_a_climb() -> None:
    """Bridged half an inch below the crown on one side, crossed an inch below on the other."""
    bridged = course(*CROWN, hidden_in=(ABOVE_IN + 0.6, ABOVE_IN + 0.8))
    crossing = course((-2, 2), (-0.8, 2))
    parts = parted_at_climbs([bridged, crossing])
    assert ends(parts)[:2] == [[[-6, 8], [0.3, 1.5]], [[0.3, 1.5], [5, 11]]]


@pytest.mark.parametrize("walked_back", [False, True])
@pytest.mark.parametrize("mirrored", [False, True])
def test_a_climb_between_two_roots_is_a_part_of_its_own(walked_back: bool, mirrored: bool) -> None:
    """Whichever end it is walked from, and in a mirror."""
    side = -1 if mirrored else 1
    whole = course((0, 1), (side * 3, 6), (side * 5, 3), (side * 8, 9))
    crossings = [course((side * x, z - 0.5), (side * x, z + 0.5)) for x, z in ((3, 6), (5, 3))]
    parts = parted_at_climbs([whole.turned() if walked_back else whole, *crossings])
    expected = [[[0, 1], [side * 3, 6]], [[side * 3, 6], [side * 5, 3]], [[side * 5, 3], [side * 8, 9]]]
    if walked_back:
        expected = [part[::-1] for part in expected[::-1]]
    assert ends(parts)[:3] == expected


@pytest.mark.parametrize("climb_in", [0.3, 1.0, 1.9])
def test_a_root_may_climb_for_a_while_whatever_touches_it(climb_in: float) -> None:
    """Out of a crack, or over a clod."""
    root = course((0, 1), (3, 6), (4, 6 - climb_in), (8, 11))
    crossing = course((3, 5), (3, 7))
    assert len(parted_at_climbs([root, crossing])) == 2


def test_a_lateral_that_only_climbs_stays_whole() -> None:
    assert len(parted_at_climbs([course((0, 6), (3, 3)), course((1, 3), (2, 6))])) == 2


def test_a_part_that_no_one_has_seen_is_no_root() -> None:
    parts = parted_at_climbs([course((-6, 8), (0, 1), (1, 4), hidden_in=(ABOVE_IN - 0.01, np.inf))])
    assert ends(parts) == [[[-6, 8], [0, 1]]]


def test_turns_are_where_a_line_goes_far_down_and_far_up() -> None:
    z_in = np.array([0.0, 3.0, 2.5, 6.0, 5.0, 5.5, 3.0, 3.5, 2.0, 4.0, 4.5])
    assert turns(z_in) == [3, 8]
    assert turns(-z_in) == [3, 8]
    assert turns(z_in[::-1]) == [2, 7]
    assert turns(np.array([0.0, FARTHEST_IN, 0.0])) == []


@pytest.mark.parametrize("way", [1, -1])
def test_a_bow_is_two_roots_where_another_root_touches_its_turn(way: int) -> None:
    """Open above, it is of two roots that go down to the third; open below, of two that come from it."""
    middle, radius_in = SIDE_IN / 2, 2.5
    angle = np.linspace(np.pi, 0, 200)
    bow = middle + radius_in * np.column_stack([np.cos(angle), way * np.sin(angle)])
    upright = np.linspace((middle, 1), (middle, SIDE_IN - 1), 80)
    lengths_in = sorted(arc_length(trace.points)[-1] for trace in followed([bow, upright]))
    assert lengths_in == pytest.approx([np.pi / 2 * radius_in] * 2 + [SIDE_IN - 2], abs=0.2)

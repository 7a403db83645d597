"""Roots grow down: what climbs far, whichever end its base is at, is of more roots than one."""

import numpy as np
import pytest

from rootread.follow.climbs import parted_at_climbs
from rootread.follow.encounters import Course
from rootread.geometry import resample_polyline


def course(*corners_in: tuple[float, float], hidden_in: float = 0.0) -> Course:
    """A course along straight lines between corners, x and z in inches; its last inches may be hidden."""
    line, at = resample_polyline(np.array(corners_in), 0.02)
    return Course(line, np.full(len(line), 0.06), at > at[-1] - hidden_in)


def corners(parts: list[Course]) -> list[list[list[float]]]:
    """First and last point of each part, to a tenth of an inch."""
    return [np.round(part.line_in[[0, -1]], 1).tolist() for part in parts]


def test_roots_of_one_crown_taken_for_one_are_parted_at_the_crown() -> None:
    parts = parted_at_climbs([course((-6, 8), (0, 1), (5, 11))])
    assert corners(parts) == [[[-6, 8], [0, 1]], [[0, 1], [5, 11]]]


def test_roots_that_cross_and_were_taken_for_one_are_parted_where_they_meet() -> None:
    parts = parted_at_climbs([course((-6, 1), (0, 6), (5, 2))])
    assert corners(parts) == [[[-6, 1], [0, 6]], [[0, 6], [5, 2]]]


@pytest.mark.parametrize("turned", [False, True])
def test_a_climb_in_the_middle_is_a_part_of_its_own(turned: bool) -> None:
    whole = course((0, 1), (3, 6), (5, 3), (8, 9))
    parts = parted_at_climbs([whole.turned() if turned else whole])
    assert len(parts) == 3
    assert sum(len(part.line_in) for part in parts) == len(whole.line_in) + 2


@pytest.mark.parametrize("turned", [False, True])
def test_a_root_may_climb_for_an_inch(turned: bool) -> None:
    """Out of a crack, or over a clod; its base may be at either end."""
    root = course((0, 1), (3, 6), (4, 5), (8, 9))
    assert len(parted_at_climbs([root.turned() if turned else root])) == 1


def test_a_lateral_that_only_climbs_stays_whole() -> None:
    assert len(parted_at_climbs([course((0, 6), (3, 3))])) == 1


def test_a_part_that_no_one_has_seen_is_no_root() -> None:
    parts = parted_at_climbs([course((-6, 8), (0, 1), (1, 4), hidden_in=3.2)])
    assert corners(parts) == [[[-6, 8], [0, 1]]]

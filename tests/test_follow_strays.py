"""Pieces that hang on nothing, deep in the wall, are no roots as a rule."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from drawn_roots import wall_of

from rootread.find import find_roots
from rootread.find.painted import PAINTED, SUREST
from rootread.follow import follow_roots
from rootread.follow.strays import APART_IN, DEEP_IN, STEP_IN, strays
from rootread.geometry import Points
from rootread.plane import Surface
from rootread.settings import FindSettings, FollowSettings

FLAT = Surface(np.array([[-1.0, 0.0], [13.0, 0.0]]), 0.1, "photo")
DOWN = np.array([[2.0, 0.5], [2.0, 15.0]])
PX_PER_IN = 30.0


def level(depth_in: float, x_in: float = 2.0) -> Points:
    return np.array([[x_in, depth_in], [x_in + 2.0, depth_in]])


def test_straw_far_below_the_last_root_is_a_stray_and_a_root_that_goes_on_below_is_not() -> None:
    far, near = 15.0 + APART_IN + STEP_IN, 15.0 + APART_IN - STEP_IN
    assert strays([DOWN, level(far)], FLAT).tolist() == [False, True]
    assert strays([DOWN, level(near)], FLAT).tolist() == [False, False]


def test_what_hangs_on_roots_that_hang_on_roots_is_held() -> None:
    ladder = [level(15.0 + rung * (APART_IN - STEP_IN)) for rung in range(1, 4)]
    assert not strays([DOWN, *ladder], FLAT).any()
    assert strays([DOWN, ladder[0], ladder[2]], FLAT).tolist() == [False, False, True]


def test_straws_that_lie_together_hold_each_other_no_more_than_one() -> None:
    floor = [level(24.0), level(24.5, 3.0), level(25.0, 2.5)]
    assert strays([DOWN, *floor], FLAT).tolist() == [False, True, True, True]


def test_a_second_plant_is_no_stray_however_far_it_stands() -> None:
    assert not strays([DOWN, DOWN + np.array([12.0, 0.0])], FLAT).any()


def test_depth_is_below_the_surface_where_the_piece_lies() -> None:
    """On a slope: 14 in below the datum is 8 in below the soil on the low side."""
    slope = Surface(np.array([[0.0, 0.0], [30.0, 6.0]]), 0.1, "photo")
    assert not strays([DOWN, level(14.0, 28.0)], slope).any()
    assert strays([DOWN, level(DEEP_IN + 6.5, 28.0)], slope).tolist() == [False, True]


def test_on_a_photo_of_the_deep_part_alone_nothing_is_a_stray() -> None:
    assert not strays([level(14.0), level(30.0)], FLAT).any()
    assert strays([], FLAT).tolist() == []


def test_what_hangs_on_a_painted_piece_is_held_and_a_stroke_in_the_deep_makes_no_strays() -> None:
    deep = [level(20.0), level(20.6), level(27.0)]
    assert strays([DOWN, *deep], FLAT, [False, True, False, False]).tolist() == [False, False, False, True]
    assert not strays(deep, FLAT, [True, False, False]).any()


@pytest.mark.parametrize("sureness, kept", [(0.97, False), (1.0, True)])
def test_a_piece_that_a_person_painted_as_root_is_kept_wherever_it_lies(sureness: float, kept: bool) -> None:
    """A stroke is surer than any finder: 1, not 0.97. Half an inch of it is enough for the whole piece."""
    picture = np.zeros((660, 360))
    for line in (DOWN, level(20.0)):
        cv2.polylines(picture, [np.round(line * PX_PER_IN).astype(np.int32)], False, 1.0, 5)
    root_map, image = wall_of(picture, PX_PER_IN)
    chance = np.where(root_map.mask, np.float32(0.97), np.float32(0))
    chance[:, round(2.5 * PX_PER_IN) : round(3.0 * PX_PER_IN)] *= np.float32(sureness / 0.97)
    chance[chance > 0.99] = sureness
    traces = follow_roots(replace(root_map, probability=chance), image, FLAT, FollowSettings())
    assert any(trace.points[:, 1].min() > 18 for trace in traces) == kept
    assert any(trace.points[:, 1].min() < 2 for trace in traces)


def test_no_finder_is_as_sure_as_a_stroke() -> None:
    """The line operator says that a clean drawn root is one beyond doubt, but for a ten-thousandth."""
    picture = np.zeros((300, 300))
    cv2.line(picture, (20, 40), (280, 260), 1.0, 7)
    _, image = wall_of(picture, 60.0)
    found = find_roots(image, FindSettings(finder="ridges"))
    assert found.mask.any()
    assert found.probability.max() == np.float32(SUREST) < PAINTED

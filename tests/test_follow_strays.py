"""Pieces that hang on nothing, deep in the wall, are no roots as a rule."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from drawn_roots import wall_of

from rootread.find import paint
from rootread.follow import follow_roots
from rootread.follow.strays import APART_IN, DEEP_IN, STEP_IN, strays
from rootread.geometry import Points
from rootread.marks import Marks, Stroke
from rootread.plane import Surface
from rootread.settings import FollowSettings

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


@pytest.mark.parametrize("is_painted", [True, False])
def test_a_piece_that_a_person_painted_as_root_is_kept_wherever_it_lies(is_painted: bool) -> None:
    """Half an inch of stroke is enough for the whole piece; however sure a finder is, it is not."""
    picture = np.zeros((660, 360))
    for line in (DOWN, level(20.0)):
        cv2.polylines(picture, [np.round(line * PX_PER_IN).astype(np.int32)], False, 1.0, 5)
    root_map, image = wall_of(picture, PX_PER_IN)
    assert root_map.probability.max() == 1.0
    painted = np.zeros_like(root_map.mask)
    painted[:, round(2.5 * PX_PER_IN) : round(3.0 * PX_PER_IN)] = is_painted
    traces = follow_roots(replace(root_map, painted=painted), image, FLAT, FollowSettings())
    assert any(trace.points[:, 1].min() > 18 for trace in traces) == is_painted
    assert any(trace.points[:, 1].min() < 2 for trace in traces)


class Square:
    """A plane whose photo is the wall, ten pixels an inch."""

    class scale:  # noqa: N801
        px_per_in = 10.0

    def to_wall_in(self, points_px: Points) -> Points:
        return points_px / 10.0


def test_later_strokes_lie_over_earlier_ones_in_what_is_painted() -> None:
    """A stroke that says root, crossed by one that says soil; without strokes nothing is painted."""
    root_map, _ = wall_of(np.zeros((100, 100)), 10.0)
    across = Stroke(says="root", points_px=((10.0, 50.0), (90.0, 50.0)), width_px=5.0)
    down = Stroke(says="soil", points_px=((50.0, 10.0), (50.0, 90.0)), width_px=5.0)
    found = paint(root_map, Square(), Marks(strokes=(across, down)))  # type: ignore[arg-type]
    assert found.painted is not None
    assert found.painted[50, 20] and found.painted[50, 80]
    assert not found.painted[50, 50] and not found.painted[20, 20]
    assert paint(root_map, Square(), Marks()).painted is None  # type: ignore[arg-type]

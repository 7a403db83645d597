"""Flattened stretches one by one: where they lie, and whether they lie in a crack."""

import numpy as np
import pytest
from handmade_roots import along, plane, trace

from rootread.find.types import RootMap
from rootread.measure import measure_wall
from rootread.plane.types import Grid
from rootread.settings import MeasureSettings

ROUND_IN, FLAT_IN = 0.10, 0.19


def read(corners, flat_from_in, flat_to_in, cracks_in=None):
    """One root, flattened between two depths, beside three round ones that tell how widths scatter."""
    line = along(*corners)
    flat = (line[:, 1] > flat_from_in) & (line[:, 1] < flat_to_in)
    root = trace(line, width_in=np.where(flat, FLAT_IN, ROUND_IN))
    others = [trace(along((x, 1), (x, 13)), name=f"o{x}") for x in (30, 34, 38)]
    return measure_wall([root, *others], plane(), MeasureSettings(), cracks_in=cracks_in)


def crack(*corners):
    return along(*corners)


SLANTED = ((0, 1), (18, 10))  # 27 degrees
DROPPED = ((0, 1), (10, 6), (10.5, 10), (16, 13))  # slants, drops upright, slants again
PLUMB = ((5, 1), (5, 13))


def test_a_flattened_stretch_has_its_place_depth_and_length():
    wall = read(PLUMB, 6, 9)
    (flat,) = wall.flats
    assert (flat.root, flat.x_in, flat.depth_in) == ("r", pytest.approx(5), pytest.approx(7.5, abs=0.05))
    assert flat.length_in == pytest.approx(3, abs=0.1)


def test_a_bridged_piece_does_not_part_a_flattened_stretch():
    line = along(*PLUMB)
    z = line[:, 1]
    root = trace(line, width_in=np.where((z > 6) & (z < 9), FLAT_IN, ROUND_IN), inferred=(z > 7) & (z < 7.4))
    others = [trace(along((x, 1), (x, 13)), name=f"o{x}") for x in (30, 34, 38)]
    (flat,) = measure_wall([root, *others], plane(), MeasureSettings()).flats
    assert (flat.depth_in, flat.length_in) == (pytest.approx(7.5, abs=0.1), pytest.approx(2.5, abs=0.15))


def test_two_roots_that_touch_are_not_one_flattened():
    """Side by side for 3 in, each is read as wide as both."""
    line, other = along(*PLUMB), along((5.1, 6), (5.1, 9), (8, 13))
    wide = (line[:, 1] > 6) & (line[:, 1] < 9)
    roots = [
        trace(line, width_in=np.where(wide, 2 * ROUND_IN, ROUND_IN), name="one"),
        trace(other, width_in=np.where(other[:, 1] < 9, 2 * ROUND_IN, ROUND_IN), name="other"),
        *(trace(along((x, 1), (x, 13)), name=f"o{x}") for x in (30, 34, 38)),
    ]
    assert measure_wall(roots, plane(), MeasureSettings()).flats == ()
    alone = [roots[0], *roots[2:]]
    assert len(measure_wall(alone, plane(), MeasureSettings()).flats) == 1


def test_a_root_that_left_its_course_to_go_upright_and_flat_is_in_a_crack():
    (flat,) = read(DROPPED, 6.2, 9.8).flats
    assert flat.crack == "upright"


def test_a_clod_that_pressed_a_root_on_its_course_is_no_crack():
    for course in (SLANTED, PLUMB):
        (flat,) = read(course, 4, 6).flats
        assert flat.crack is None


def test_a_dark_line_beside_the_stretch_is_its_crack():
    edge_in = FLAT_IN / 2 + 0.03
    beside = crack((5 + edge_in, 5), (5 + edge_in, 10))
    (flat,) = read(PLUMB, 6, 9, beside).flats
    assert flat.crack == "seen"


@pytest.mark.parametrize("beyond", [((5, 9), (5.1, 12)), ((4.95, 3), (5, 6))])
def test_a_crack_that_goes_on_below_or_above_the_stretch_is_its_crack(beyond):
    (flat,) = read(PLUMB, 6, 9, crack(*beyond)).flats
    assert flat.crack == "seen"


@pytest.mark.parametrize("away", [((3, 7.5), (7, 7.5)), ((5.6, 3), (5.6, 12)), ((5, 9), (9, 10))])
def test_a_crack_that_crosses_or_runs_elsewhere_is_not(away):
    (flat,) = read(PLUMB, 6, 9, crack(*away)).flats
    assert flat.crack is None


def test_the_wall_says_how_much_of_the_flattened_length_lies_in_cracks():
    line = along(*PLUMB)
    flat = (line[:, 1] > 6) & (line[:, 1] < 9)
    roots = [
        trace(line + np.array([4 * i, 0]), width_in=np.where(flat, FLAT_IN, ROUND_IN), name=f"r{i}")
        for i in range(3)
    ]
    roots += [trace(along((x, 1), (x, 13)), name=f"o{x}") for x in (30, 34, 38, 42)]
    wall = measure_wall(roots, plane(), MeasureSettings(), cracks_in=crack((9, 9), (9, 12)))
    assert [flat.crack for flat in wall.flats] == [None, "seen", None]
    assert wall.flattened_in_cracks == pytest.approx(1 / 3)


def test_without_a_flattened_stretch_nothing_is_said_of_cracks():
    wall = measure_wall([trace(along(*PLUMB))], plane(), MeasureSettings(), cracks_in=crack((5, 3), (5, 12)))
    assert wall.flats == () and np.isnan(wall.flattened_in_cracks)


def test_cracks_lie_where_their_pixels_are():
    shown = np.zeros((100, 80), bool)
    shown[20:60, 40:44] = True
    grid = Grid(20.0, -1.0, 0.5, shown.shape)
    places = RootMap(shown.astype(np.float32), ~shown, grid, crack=shown).cracks_in
    assert (places.min(axis=0), places.max(axis=0)) == (
        pytest.approx([40 / 20 - 1, 20 / 20 + 0.5]),
        pytest.approx([42 / 20 - 1, 58 / 20 + 0.5]),
    )
    assert RootMap(shown.astype(np.float32), shown, grid).cracks_in is None

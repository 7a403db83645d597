"""What the report says slice by slice: of depth below and above the surface, and along the wall."""

import re
from dataclasses import replace
from itertools import pairwise

import pytest
from handmade_roots import along, trace
from report_walls import turned_wall, wall

from rootread.measure.places import DescentSlice
from rootread.measure.types import Interval
from rootread.report.descents import descent_along_wall, descent_by_depth
from rootread.report.detail import profile_wall_table
from rootread.report.profiles import depth_axis, depth_profile
from rootread.units import lengths_shown_in


def descent_slice(from_in, to_in):
    return DescentSlice(from_in, to_in, 20.0, Interval(30.0, 27.0, 33.0))


def test_descent_left_of_the_scale_object_is_said_to_be_left_of_it():
    made = turned_wall()
    drawing = descent_along_wall(
        [descent_slice(-8.0, -4.0), descent_slice(-4.0, 0.0)], made.readings.pattern, ()
    )
    assert "30° at 4 to 8 in left, 30° at 0 to 4 in left." in drawing


def places(drawing, pattern):
    """Where the shapes of a drawing lie that are written so, as numbers."""
    return [tuple(map(float, found)) for found in re.findall(pattern, drawing)]


BAR = r'<rect x="([^"]*)" y="([^"]*)" width="([^"]*)" height="([^"]*)" class="bar">'
PLATE = r'<rect x="([^"]*)" y="([^"]*)" width="([^"]*)" height="([^"]*)" class="plate"/><text x="([^"]*)" '
LAYER = r'<path d="M([\d.]+) ([\d.]+)L[\d. ]+" class="layer"/>'


@pytest.mark.parametrize("depth_in", [6.8, 7.0, 7.2])
def test_the_line_of_a_layer_does_not_run_up_to_a_number(depth_in):
    made = turned_wall()
    drawing = depth_profile(made.readings, [replace(made.layers[0], depth_in=depth_in)])
    ((_, line_at),) = places(drawing, LAYER)
    met = [place for place in places(drawing, PLATE) if place[1] < line_at < place[1] + place[3]]
    assert met, "no number stands where the line comes by, so this shows nothing"
    for left, top, width, _, number_at in met:
        (bar,) = [bar for bar in places(drawing, BAR) if bar[1] < top + 2 < bar[1] + bar[3]]
        assert bar[0] + bar[2] <= left < bar[0] + bar[2] + 1, "a stub of line is left, like a minus"
        assert number_at + 6 < left + width
    assert drawing.rindex('class="layer"') < drawing.index('class="plate"')


def test_slices_lower_than_a_number_have_one_at_every_second_bar():
    straight_down = wall([trace(along((15, 0.2), (15, 79.8)), name="r1")], size_px=(800, 1800))
    drawing = depth_profile(straight_down.readings, ())
    bars, numbers = places(drawing, BAR), places(drawing, PLATE)
    assert len(bars) == 40
    assert len(numbers) == 20
    tops = sorted(top for _, top, _, _, _ in numbers)
    assert min(lower - upper for upper, lower in pairwise(tops)) >= 11


def test_no_empty_slice_is_shown_above_the_soil_surface():
    begun_a_hair_above = wall([trace(along((15, -0.02), (25, 9.98)), name="r1")])
    readings = begun_a_hair_above.readings
    assert readings.density_z_in[0] < 0
    drawing = depth_profile(readings, ())
    assert "in of root from 0 to 2 in deep" in drawing and "surface" not in drawing
    assert depth_axis(readings, ()).shallowest_in == 0.0
    table = profile_wall_table(begun_a_hair_above.judgement)
    assert [row[0] for row in table["rows"]][:2] == ["0.0 to 2.0 in", "2.0 to 3.9 in"]


def test_roots_in_a_ridge_are_said_to_lie_above_the_mean_surface():
    in_a_ridge = wall([trace(along((15, -1.5), (15 + 3 * k, 9.5)), name=f"r{k}") for k in range(1, 6)])
    drawing = depth_profile(in_a_ridge.readings, ())
    assert "in of root from 0 to 2 in above the mean surface<" in drawing
    assert "in of root from 0 to 2 in deep" in drawing
    assert depth_axis(in_a_ridge.readings, ()).shallowest_in == -2.0
    table = profile_wall_table(in_a_ridge.judgement)
    assert [row[0] for row in table["rows"]][:2] == ["0.0 to 2.0 in above the mean surface", "0.0 to 2.0 in"]
    by_depth = descent_by_depth(in_a_ridge.judgement.by_depth, in_a_ridge.readings, ())
    assert "at 0 to 2 in above the mean surface, " in by_depth
    with lengths_shown_in("cm"):
        assert "cm of root from 0 to 5 cm above the mean surface<" in depth_profile(in_a_ridge.readings, ())

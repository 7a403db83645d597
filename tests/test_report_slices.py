"""What the report says slice by slice: of depth below and above the surface, and along the wall."""

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

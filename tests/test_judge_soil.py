"""What lies beside the roots: cone readings, the marked floor of the loosened soil, calipers."""

from dataclasses import replace

import numpy as np
import pytest
from handmade_roots import along, plane, trace

from rootread.errors import BadSheet
from rootread.fieldsheet import CaliperPair, ConeReading, SheetRow, cone_of, read_sheet
from rootread.judge import find_layers, grade_wall, judge_wall
from rootread.judge.cone import cone_agreement, cone_profiles, limit_depth
from rootread.judge.floor import loosened_floor
from rootread.judge.spacing import spacing_by_sheet
from rootread.judge.types import Layer
from rootread.marks import Marks
from rootread.measure import measure_wall
from rootread.settings import JudgeSettings, MeasureSettings

LEVEL = np.array([[-100.0, 0.0], [100.0, 0.0]])
TILTED = np.array([[-100.0, -5.0], [100.0, 5.0]])
ROW = SheetRow("wall.jpg", "wall")
SETTINGS = JudgeSettings(permutations=19, bootstrap=20)


# cone penetrometer; 300 psi: Taylor and Gardner 1963, Soil Science 96:153-156 (from memory)


def test_the_depth_of_300_psi_lies_on_the_line_between_readings():
    assert limit_depth([2, 4, 6, 8], [100, 200, 400, 450], 300) == pytest.approx(5.0)
    assert limit_depth([2, 4], [350, 400], 300) == 2
    assert limit_depth([2, 4], [100, 299], 300) is None


def test_a_soft_reading_below_a_hard_one_does_not_hide_it():
    assert limit_depth([2, 4, 6, 8], [100, 320, 150, 400], 300) == pytest.approx(2 + 2 * 200 / 220)


def test_cone_depths_are_below_the_surface_above_them():
    (profile,) = cone_profiles([ConeReading(40.0, 6.0, 100.0), ConeReading(40.0, 8.0, 500.0)], TILTED, 300)
    assert profile.limit_depth_in == pytest.approx(7.0)
    assert profile.limit_z_in == pytest.approx(7.0 + 2.0)


def test_each_place_that_was_probed_deep_enough_tests_the_layer():
    layer = Layer(6.0, 0.1, -10, 10, 10, 1, 9, 0, 20.0, 0.001, None)
    readings = [
        *(ConeReading(-8.0, d, p) for d, p in ((4, 100), (8, 500))),  # 300 psi at 6: agrees
        *(ConeReading(-2.0, d, p) for d, p in ((1, 100), (3, 400))),  # at 2.3: shallower
        *(ConeReading(4.0, d, p) for d, p in ((4, 100), (12, 200))),  # not by 12: softer
        *(ConeReading(9.0, d, p) for d, p in ((2, 100), (5, 200))),  # not probed so deep
        *(ConeReading(30.0, d, p) for d, p in ((4, 100), (8, 500))),  # beside the layer
    ]
    (agrees,) = cone_agreement(cone_profiles(readings, LEVEL, 300), [layer])
    assert (agrees.tested, agrees.agree, agrees.shallower, agrees.softer) == (3, 1, 1, 1)


def test_a_place_first_probed_below_a_layer_tells_nothing_of_it():
    layer = Layer(6.0, 0.1, -10, 10, 10, 1, 9, 0, 20.0, 0.001, None)
    readings = [
        *(ConeReading(-8.0, d, p) for d, p in ((9, 400), (12, 500))),
        *(ConeReading(0.0, d, p) for d, p in ((9, 100), (12, 500))),
        *(ConeReading(8.0, d, p) for d, p in ((3, 400), (9, 500))),  # hard from above the layer on
    ]
    profiles = cone_profiles(readings, LEVEL, 300)
    assert [profile.hard_from_first for profile in profiles] == [True, False, True]
    (agrees,) = cone_agreement(profiles, [layer])
    assert (agrees.tested, agrees.agree, agrees.shallower, agrees.softer) == (1, 0, 1, 0)


def test_a_second_layer_is_set_against_where_the_cone_gets_hard_again():
    upper, lower = (Layer(z, 0.1, -10, 10, 10, 1, 9, 0, 20.0, 0.001, None) for z in (4.0, 12.0))
    hard_twice = [ConeReading(0.0, d, p) for d, p in ((2, 100), (4, 350), (8, 150), (12, 320), (14, 330))]
    hard_once = [ConeReading(5.0, d, p) for d, p in ((2, 100), (4, 350), (8, 150), (14, 200))]
    hard_on = [ConeReading(-5.0, d, p) for d, p in ((2, 100), (4, 350), (8, 360), (14, 400))]
    not_so_deep = [ConeReading(8.0, d, p) for d, p in ((2, 100), (4, 350), (8, 150))]
    profiles = cone_profiles([*hard_twice, *hard_once, *hard_on, *not_so_deep], LEVEL, 300)
    above, below = cone_agreement(profiles, [upper, lower])
    assert (above.tested, above.agree) == (4, 4)
    assert (below.tested, below.agree, below.shallower, below.softer) == (3, 1, 1, 1)


def cone_file(tmp_path, text):
    path = tmp_path / "cone.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_cone_file_is_read_by_wall_and_place(tmp_path):
    path = cone_file(tmp_path, "wall,x_in,depth_in,psi\nnorth,5,6 in,320\nnorth,-5,10 cm,150\nsouth,1,2,90\n")
    assert cone_of(path, "North", alone=False) == (
        ConeReading(-5.0, pytest.approx(10 / 2.54), 150.0),
        ConeReading(5.0, 6.0, 320.0),
    )
    assert cone_of(path, "east", alone=False) == ()


def test_readings_without_a_wall_are_those_of_a_lone_wall(tmp_path):
    path = cone_file(tmp_path, "x_in,depth_in,psi\n0,2,100\n")
    assert cone_of(path, "north", alone=True) == (ConeReading(0.0, 2.0, 100.0),)
    with pytest.raises(BadSheet, match="name no wall"):
        cone_of(path, "north", alone=False)


def test_a_lone_walls_readings_count_whether_or_not_they_name_it(tmp_path):
    path = cone_file(tmp_path, "wall,x_in,depth_in,psi\nnorth,0,8,300\n,0,4,200\n")
    assert [reading.psi for reading in cone_of(path, "north", alone=True)] == [200.0, 300.0]


def test_pressures_carry_their_unit_and_decimal_commas(tmp_path):
    path = cone_file(tmp_path, "X in;depth-in;psi\n0;10 cm;1,4 MPa\n0;20 cm;2000 kPa\n0;30 cm;300,5\n")
    psi = [reading.psi for reading in cone_of(path, "north", alone=True)]
    # 1 psi = 6894.757 Pa (from memory)
    assert psi == pytest.approx([1.4e6 / 6894.757, 2e6 / 6894.757, 300.5], rel=1e-5)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("x_in,psi\n0,100\n", "no column depth_in"),
        ("x_in,depth_in,psi\n0,2,100\n,4,200\n", "row 3, x_in: nothing is written"),
        ("x_in,depth_in,psi\n0,2,\n", "row 2, psi: nothing is written"),
        ('x_in,depth_in,psi\n0,2,"1,400 kPa"\n', "two ways"),
        ("x_in,depth_in,psi\n0,2,40 MPa\n", "no pressure that a cone is pushed with"),
        ("x_in,depth_cm,psi\n0,2,100\n", "A unit stands in the cell"),
        ("x_in,depth_in,psy\n", "Did you mean psi"),
        ("x_in,depth_in,psi\n0,2,hard\n", "row 2, psi"),
        ("x_in,depth_in,psi\n0,-2,100\n", "row 2, depth_in"),
        ("x_in,depth_in,psi\n0,two,100\n", "row 2, depth_in"),
    ],
)
def test_a_wrong_cone_file_is_told_where(tmp_path, text, said):
    with pytest.raises(BadSheet, match=said):
        cone_of(cone_file(tmp_path, text), "north", alone=True)
    with pytest.raises(BadSheet, match=r"^pit 3/cone\.csv: "):
        cone_of(tmp_path / "cone.csv", "north", alone=True, name="pit 3/cone.csv")


# calipers


def test_calipers_on_the_sheet_are_pairs_with_their_depth(tmp_path):
    path = tmp_path / "sheet.csv"
    path.write_text("photo,calipers\na.jpg,3 mm/2 mm at 7; 1.0 mm/2.5 mm\n", encoding="utf-8")
    first, second = read_sheet(path)[0].calipers
    assert first.flattening == pytest.approx(1 - 2 / 3) and first.depth_in == 7.0
    assert second == CaliperPair(pytest.approx(2.5 / 25.4), pytest.approx(1 / 25.4), None)
    path.write_text("photo,calipers\na.jpg,3 mm\n", encoding="utf-8")
    with pytest.raises(BadSheet, match="no pair"):
        read_sheet(path)


@pytest.mark.parametrize(
    "cell", ["3.1/2.0 mm at 7", "3.1 mm/2.0 at 7 in", "2,0 mm/3,1mm at 17.78 cm", "3.1 x 2.0 mm @7"]
)
def test_calipers_are_read_in_one_unit(tmp_path, cell):
    path = tmp_path / "sheet.csv"
    path.write_text(f"photo;calipers\na.jpg;{cell}\n", encoding="utf-8")
    (pair,) = read_sheet(path)[0].calipers
    assert (pair.major_in, pair.minor_in) == pytest.approx((3.1 / 25.4, 2.0 / 25.4))
    assert pair.depth_in == pytest.approx(7.0)


# the floor of the loosened soil


def hills(spacing_in=20.0, deep_in=12.0, high_in=4.0):
    """Three valleys and two hills, straight between."""
    x = np.array([-1.5, -1, -0.5, 0, 0.5, 1, 1.5]) * spacing_in
    z = deep_in - high_in * np.array([1, 0, 1, 0, 1, 0, 1.0])
    return np.column_stack([x, z])


def test_a_saw_tooth_floor_has_half_its_hills_loosened():
    floor = loosened_floor(hills(), LEVEL, replace(ROW, tool_depth_in=12.0, shank_spacing_in=20.0))
    assert floor.loosened_share == pytest.approx((12 - 2) / 12, abs=0.002)
    assert floor.mean_depth_in == pytest.approx(10, abs=0.02)
    # a triangle wave of height h has standard deviation h / sqrt(12)
    assert floor.roughness_in == pytest.approx(4 / np.sqrt(12), abs=0.02)
    assert [berm.x_in for berm in floor.berms] == pytest.approx([-10, 10], abs=0.1)
    assert [berm.height_in for berm in floor.berms] == pytest.approx([4, 4], abs=0.05)
    assert [berm.width_in for berm in floor.berms] == pytest.approx([10, 10], abs=0.3)


def test_depth_counts_from_the_surface_above():
    shift = np.column_stack([np.zeros(7), np.interp(hills()[:, 0], *TILTED.T)])
    level, tilted = loosened_floor(hills(), LEVEL, ROW), loosened_floor(hills() + shift, TILTED, ROW)
    assert tilted.loosened_share == pytest.approx(level.loosened_share, abs=0.002)


def test_soil_below_the_tool_is_not_counted_as_loosened_by_it():
    floor = loosened_floor(hills(), LEVEL, replace(ROW, tool_depth_in=8.0))
    assert floor.loosened_share == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("spacing_in", "points"),
    [
        (18, "plain points"),
        (24, "winged points"),
        (30, "winged points with shallow leading tines"),
        (40, None),
    ],
)
def test_what_loosens_all_the_soil_at_a_spacing(spacing_in, points):
    """Spoor and Godwin 1978 (from memory): 1.5, 2.0 and 2.5 working depths at most; it is 12 in."""
    row = replace(ROW, tool_depth_in=12.0, shank_spacing_in=float(spacing_in))
    assert loosened_floor(hills(), LEVEL, row).spacing.loosens_with == points
    assert spacing_by_sheet(row).loosens_with == points  # nobody need mark the floor


@pytest.mark.parametrize("lacking", ["tool_depth_in", "shank_spacing_in"])
def test_a_sheet_without_depth_or_spacing_tells_of_no_spacing(lacking):
    known = {"tool_depth_in": 12.0, "shank_spacing_in": 30.0}
    assert spacing_by_sheet(replace(ROW, **known)).working_depths == 2.5
    assert spacing_by_sheet(replace(ROW, **known | {lacking: None})) is None


def test_spacing_is_taken_between_the_valleys_where_the_sheet_has_none():
    floor = loosened_floor(hills(18.0), LEVEL, ROW)
    assert floor.spacing.apart_in == pytest.approx(18, abs=0.2) and not floor.spacing.from_sheet
    assert not floor.from_sheet and floor.tool_depth_in == pytest.approx(12, abs=0.05)


@pytest.mark.parametrize("beyond_in", [0.0, 8.0])
def test_a_berm_marked_alone_tells_its_size_and_no_spacing(beyond_in):
    """From flank to flank, or with some flat floor on either side under ground that is not even."""
    x = np.array([-5.0 - beyond_in, -5.0, 0.0, 5.0, 5.0 + beyond_in])
    uneven = np.column_stack([np.linspace(-20, 20, 41), 0.2 * np.sin(np.linspace(-20, 20, 41))])
    floor = loosened_floor(np.column_stack([x, [12.0, 12.0, 8.0, 12.0, 12.0]]), uneven, ROW)
    assert [berm.height_in for berm in floor.berms] == pytest.approx([4.0], abs=0.4)
    assert floor.spacing is None


def test_a_line_that_lies_above_the_surface_is_no_floor():
    assert loosened_floor(hills() - [0.0, 20.0], LEVEL, replace(ROW, tool_depth_in=12.0)) is None


def test_a_flat_floor_has_no_berms():
    floor = loosened_floor(np.array([[-10.0, 9.0], [10.0, 9.0]]), LEVEL, ROW)
    assert floor.berms == () and floor.roughness_in == pytest.approx(0, abs=1e-9)


def test_a_floor_without_width_says_nothing():
    assert loosened_floor(np.array([[0.0, 9.0], [0.2, 9.0]]), LEVEL, ROW) is None


def test_the_judgement_holds_cone_and_floor():
    roots = [trace(along((x, 1), (x, 12)), name=f"r{x}") for x in range(-8, 9, 2)]
    row = replace(ROW, cone=(ConeReading(0.0, 2.0, 100.0), ConeReading(0.0, 6.0, 500.0)))
    readings = measure_wall(roots, plane(), MeasureSettings())
    layers = find_layers(readings, (), SETTINGS)
    grade = grade_wall(readings, layers, row, SETTINGS)
    marks = Marks(loosened_floor_px=tuple((float(x), float(z)) for x, z in hills()))
    judgement = judge_wall(readings, layers, grade, row, SETTINGS, plane(), marks)
    assert judgement.cone[0].limit_depth_in == pytest.approx(4.0)
    assert judgement.floor.mean_depth_in == pytest.approx(10, abs=0.05)

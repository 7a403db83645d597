"""A wall drawn by hand whose every figure is worked out on paper, from the geometry alone.

Eleven roots on a wall with a level surface, z down from it, all starting 1 in deep:

    f1, f2   plumb at x = 17 and 49, to 13 in; f1 is squeezed flat from 9.5 to 11.5 in, in a crack
    s1, s2   at 45 degrees from x = 10 and 42, to 13 in; twice as thick as the others
    t1 .. t6 plumb to 7.2 in, then level for 3 in to the right, from x = 1, 4.5, 25, 30, 35 and 57
    e1       plumb at x = 39, ends at 7.0 in

Shanks ran at 16 and 48, 32 in apart, so slots reach from 8 to 24 and from 40 to 56: the four that go
down are in the slots, the seven that are held are in the berms.

Lengths: f 12.0; s 12 sqrt 2 = 16.971; t 6.2 + 3 = 9.2; e 6.0.
Slots 2 x 12 + 2 x 16.971 = 57.941; berms 6 x 9.2 + 6 = 61.2; the wall 119.141 in.

Round a corner the tangent over 1 in falls as tan d = (0.5 - u) / (0.5 + u), u inches past the corner and
-0.5 < u < 0.5; that is d = 45 - atan 2u. So d = 40 at u = 0.0437, 25 at 0.1820, 12 at 0.3247.
"""

import numpy as np
import pytest
from handmade_roots import along, plane, trace
from scipy.optimize import curve_fit
from scipy.special import ellipe

import rootread.judge.grade as grade_module
from rootread.fieldsheet import ConeReading, RecordedLayer, SheetRow
from rootread.judge import find_layers, grade_wall, judge_wall
from rootread.marks import Marks
from rootread.measure import measure_wall
from rootread.measure.waviness import waviness
from rootread.settings import Settings

SETTINGS = Settings()
STEP = 0.01  # relative: steps of 0.05 in against the length of a root
TURNED_AT = (1.0, 4.5, 25.0, 30.0, 35.0, 57.0)
TOTAL_IN, SLOTS_IN, BERMS_IN = 119.141, 57.941, 61.2

ROW = SheetRow(
    "wall.jpg",
    "wall",
    layers=(RecordedLayer("A/B", 2.0), RecordedLayer("disk", 7.5)),
    tool_depth_in=6.0,
    shank_spacing_in=32.0,
    shanks_at_in=(16.0, 48.0),
    cone=(
        ConeReading(30.0, 4.0, 100.0),
        ConeReading(30.0, 10.0, 500.0),
        ConeReading(17.0, 4.0, 100.0),
        ConeReading(17.0, 12.0, 250.0),
    ),
)
MARKS = Marks(loosened_floor_px=((0.0, 2.0), (16.0, 6.0), (32.0, 2.0), (48.0, 6.0), (64.0, 2.0)))
CRACK = along((17, 11.5), (17, 12.8))


def roots():
    f1 = along((17, 1), (17, 13))
    flat = (f1[:, 1] > 9.5) & (f1[:, 1] < 11.5)
    yield trace(f1, name="f1", width_in=np.where(flat, 0.17, 0.10))
    yield trace(along((49, 1), (49, 13)), name="f2")
    for name, x in (("s1", 10), ("s2", 42)):
        yield trace(along((x, 1), (x + 12, 13)), name=name, width_in=0.24)
    for number, x in enumerate(TURNED_AT, start=1):
        yield trace(along((x, 1), (x, 7.2), (x + 3, 7.2)), name=f"t{number}")
    yield trace(along((39, 1), (39, 7.0)), name="e1")


@pytest.fixture(scope="module")
def wall():
    return measure_wall(tuple(roots()), plane(), SETTINGS.measure, cracks_in=CRACK)


@pytest.fixture(scope="module")
def layers(wall):
    return find_layers(wall, ROW.layers, SETTINGS.judge)


@pytest.fixture(scope="module")
def grade(wall, layers):
    with pytest.MonkeyPatch.context() as patch:
        # What tracing gets wrong is measured on made walls, not on paper: four points.
        patch.setattr(grade_module, "GRADE_SE", 4.0)
        return grade_wall(wall, layers, ROW, SETTINGS.judge)


@pytest.fixture(scope="module")
def judgement(wall, layers, grade):
    return judge_wall(wall, layers, grade, ROW, SETTINGS.judge, plane(), MARKS)


def near(value, rel=STEP, abs=None):
    return pytest.approx(value, rel=rel, abs=abs)


# what was measured


def test_length_and_descent(wall):
    assert wall.root_length_in == near(TOTAL_IN)
    # t: 5.7 in plumb, 1 in round the corner at 45 on average, the rest level: 5.7 x 90 + 45 = 558
    # f 2 x 12 x 90 = 2160; s 2 x 16.971 x 45 = 1527.4; t 6 x 558 = 3348; e 6 x 90 = 540; sum 7575.4
    # 7575.4 / 119.141 = 63.58
    assert wall.descent.value == near(63.58)


def test_shares_against_the_pattern(wall):
    # the pattern of 30 to 35, widened by 5, is 25 to 40
    # below 25: 6 x (3 - 0.1820) = 16.908 in; from 25 to 40: 6 x (0.1820 - 0.0437) = 0.830 in
    assert wall.shallow_share == near(16.908 / TOTAL_IN, abs=0.003)
    assert wall.in_pattern_share == near(0.830 / TOTAL_IN, abs=0.003)
    assert wall.steep_share == near(1 - 17.738 / TOTAL_IN, abs=0.003)


def test_tortuosity_and_turning(wall):
    # t: 9.2 / sqrt(6.2^2 + 3^2) = 9.2 / 6.8877 = 1.3357; the others 1
    # (57.941 + 6 + 55.2 x 1.3357) / 119.141 = 1.1555
    assert wall.tortuosity == near(1.1555)
    # one right angle each: 90 / 9.2
    assert wall.roots[4].turning_deg_per_in == near(9.783, rel=0.02)


def test_sideways_runs_and_turns(wall):
    held = wall.roots[4:10]
    assert all(not root.runs and not root.turns for root in wall.roots if root not in held)
    for root, x in zip(held, TURNED_AT, strict=True):
        (run,), (turn,) = root.runs, root.turns
        # near level (12 degrees) from 0.325 in past the corner to the end
        assert (run.x_from_in, run.x_to_in) == near((x + 0.325, x + 3), abs=0.06)
        assert (run.length_in, run.depth_in) == near((2.675, 7.2), abs=0.06)
        assert (turn.x_in, turn.depth_in) == near((x, 7.2), abs=0.06)
    # 6 x 2.675
    assert wall.sideways_in == near(16.05, abs=0.3)


def test_flattening(wall):
    # 2 in of 119.141; its middle at 10.5 in; the crack goes on below it
    assert wall.flattened_share == near(2 / TOTAL_IN, abs=0.001)
    (flat,) = wall.flats
    assert (flat.root, flat.crack) == ("f1", "seen")
    assert (flat.depth_in, flat.x_in, flat.length_in) == near((10.5, 17.0, 2.0), abs=0.06)
    assert wall.flattened_in_cracks == 1.0


def test_density_grid(wall):
    assert wall.density.sum() * 4 == near(TOTAL_IN)

    def cell(x, z):
        row = int(np.searchsorted(wall.density_z_in, z, side="right")) - 1
        return wall.density[row, int(np.searchsorted(wall.density_x_in, x, side="right")) - 1]

    # f1 goes 2 in through a cell of 4 square inches; t3 1.2 in down and 1 in along
    assert cell(17, 3) == near(0.5, rel=0.03)
    assert cell(25.5, 7) == near(2.2 / 4, rel=0.04)
    assert cell(13, 11) == 0


# layers


def test_the_layer(layers):
    (layer,) = layers
    # all lie at 7.2, so their spread is the usual one alone: sqrt(3 x 0.2^2 / (6 - 1 + 3)) = 0.1225
    assert layer.depth_in == near(7.2 + 0.1225, abs=0.01)
    # of the spread 0.1225 / sqrt 6 = 0.050, of its shape 0.1, of the surface 0.1, of the scale
    # 7.32 x 0.1 / 75 = 0.0098: sqrt(0.0025 + 0.01 + 0.01 + 0.0001) = 0.1503
    assert layer.depth_se_in == near(0.1503, abs=0.003)
    # from the corner of t1 to the end of t6
    assert (layer.x_from_in, layer.x_to_in) == near((1.0, 60.0), abs=0.06)
    assert layer.line.shape == "level"
    assert layer.sideways_in == near(16.05, abs=0.3)
    # 7.5 is 0.18 away; 2 sqrt(0.15^2 + 0.5^2) = 1.04 is allowed
    assert layer.recorded == "disk"


def test_chance_hardly_gathers_six_roots_so(layers):
    # six even chances over 6.2 in fall within w of one another with 6 r^5 - 5 r^6, r = w / 6.2:
    # 0.0002 for the window of 0.8 in and 0.0054 for that of 1.6 in; the least p is 1 / 1000 / 0.8
    assert 0.00125 <= layers[0].p_value < 0.0054 / 0.8 + 0.00125


def test_passage_of_the_layer_with_its_binomial_interval(layers):
    (layer,) = layers
    assert (layer.reached, layer.crossed, layer.turned, layer.stopped) == (11, 4, 6, 1)
    # Wilson, z = 1.96: centre (4 + 1.9207) / (11 + 3.8415) = 0.3989,
    # half 1.96 sqrt(4 x 7 / 11 + 0.9604) / 14.8415 = 0.2473
    interval = layer.passage_interval
    assert (interval.value, interval.low, interval.high) == near((0.3636, 0.1516, 0.6462), abs=0.0003)


def test_the_curve_of_passage_against_depth(judgement):
    curve = judgement.passage
    share = dict(zip(np.round(curve.depth_in, 1).tolist(), curve.share.tolist(), strict=True))
    # at 7.0 one of 11 is held, at 7.2 six of the 10 left: 10/11, then 10/11 x 4/10 = 4/11
    assert (share[6.8], share[7.0], share[7.2], share[12.0]) == near((1.0, 10 / 11, 4 / 11, 4 / 11))
    # Greenwood: 1 / (11 x 10) + 6 / (10 x 4) = 0.15909; 1.96 sqrt 0.15909 / |ln 0.3636| = 0.7728
    # 0.3636 ^ exp(0.7728) = 0.1118; 0.3636 ^ exp(-0.7728) = 0.6268
    assert (curve.low[-1], curve.high[-1]) == near((0.1118, 0.6268), abs=0.001)


# strips, slices and classes


def test_slots_and_berms(judgement):
    slot, berm = judgement.strips
    # the rooted wall reaches from 1 to 60 and 13 in down; slots 16 + 16, berms 7 + 16 + 4 in wide
    assert (slot.name, slot.width_in, berm.name, berm.width_in) == ("slot", near(32), "berm", near(27))
    assert (slot.root_length_in, berm.root_length_in) == near((SLOTS_IN, BERMS_IN))
    # 57.941 / (32 x 13) and 61.2 / (27 x 13)
    assert (slot.density, berm.density) == near((0.1393, 0.1744))
    # (2160 + 1527.4) / 57.941 and (3348 + 540) / 61.2
    assert (slot.descent_deg, berm.descent_deg) == near((63.64, 63.53))
    assert (slot.passage, berm.passage) == (1.0, 0.0)
    assert not slot.guessed


def test_above_in_and_below_the_layer(judgement):
    # parted 1 in above and half an inch below 7.322: at 6.322 and 7.822
    above, within, below = judgement.around_layers
    # an inch of depth holds 2 + 2 sqrt 2 + 6 + 1 = 11.828 in of root above the layer, 4.828 below
    # above 5.322 x 11.828; below 5.178 x 4.828; within the rest
    assert (above.root_length_in, below.root_length_in) == near((62.95, 25.00))
    assert within.root_length_in == near(31.19, rel=0.02)
    # (9 x 90 + 2.828 x 45) / 11.828; (2 x 90 + 2.828 x 45) / 4.828
    assert (above.descent_deg, below.descent_deg) == near((79.24, 63.64))
    # six right angles in 31.19 in; none elsewhere
    assert within.turning_deg_per_in == near(17.31, rel=0.03)
    assert (above.turning_deg_per_in, below.turning_deg_per_in) == near((0, 0), abs=0.1)
    # 2 in of 25.00
    assert (above.flattened_share, below.flattened_share) == near((0, 0.080), abs=0.003)


def test_descent_by_depth(judgement):
    by_depth = {part.from_in: part.descent.value for part in judgement.by_depth}
    assert (by_depth[2.0], by_depth[10.0]) == near((79.24, 63.64))


def test_abundance_classes_by_horizon(judgement):
    # 0.10 in is 2.54 mm, medium; 0.24 in is 6.1 mm, coarse; 59 in by 2 in is 7.613 dm2, by 11 in 41.87 dm2
    # 9 / 7.613 = 1.18 common, 2 / 7.613 = 0.26 few; 9 / 41.87 = 0.215 and 2 / 41.87 = 0.048, few
    found = [(a.from_in, a.size, a.roots, a.per_unit_area, a.quantity) for a in judgement.abundance]
    assert found == [
        (0, "medium", 9, near(1.182), "common"),
        (0, "coarse", 2, near(0.2627), "few"),
        (2, "medium", 9, near(0.2149), "few"),
        (2, "coarse", 2, near(0.0478), "few"),
    ]


def test_the_profile_wall_grid(judgement):
    # the first row of 5 cm holds 0.9685 in of depth with roots: 11.456 in = 58.19 units of 5 mm in 31 cells
    first = judgement.profile_wall[0]
    assert (first.to_in, first.mean_units) == near((5 / 2.54, 58.19 / 31), rel=0.03)


def test_depths_of_half_and_of_95_percent(judgement):
    """The curve r(D) = 1 / (1 + (D / D50)^c) through the lengths on paper, fitted by SciPy."""
    depth = np.arange(0.5, 13.1, 0.5)
    # 11.828 in an inch from 1 to 7, 10.828 to 7.2, 18 in at 7.2, 4.828 an inch from there
    above = 11.828 * np.clip(depth - 1, 0, 6) + 10.828 * np.clip(depth - 7, 0, 0.2)
    above += 18.0 * (depth > 7.2) + 4.828 * np.clip(depth - 7.2, 0, None)
    (d50, c), _ = curve_fit(lambda d, a, b: 1 / (1 + (d / a) ** b), depth, above / TOTAL_IN, p0=(6, -3))
    (beta,), _ = curve_fit(lambda d, b: 1 - b ** (2.54 * d), depth, above / TOTAL_IN, p0=0.96)
    fit = judgement.depth_fit
    assert fit.d50_in.value == near(d50)
    # D95 = D50 x 19^(-1 / c)
    assert fit.d95_in.value == near(d50 * 19 ** (-1 / c))
    assert fit.beta.value == near(beta, rel=0.002)


def test_the_descent_if_all_roots_left_the_wall(judgement):
    # atan(cos 30 x tan 63.58) = atan(0.8660 x 2.0128) = 60.16
    assert judgement.least_descent_deg == near(60.16)


# soil


def test_the_loosened_soil_and_its_berm(judgement):
    floor = judgement.floor
    # the floor goes straight from 2 in under the hills to 6 in under the shanks: 4 in on average, 4 of 6 in
    assert (floor.mean_depth_in, floor.loosened_share) == near((4.0, 4 / 6))
    # a triangle wave 4 in high: 4 / sqrt 12
    assert floor.roughness_in == near(1.155)
    (berm,) = floor.berms
    assert (berm.x_in, berm.height_in, berm.width_in) == near((32, 4, 16), rel=0.02)
    # 32 / 6; the widest rule ends at 2.5
    assert floor.spacing.working_depths == near(5.333)
    assert floor.spacing.loosens_with is None


def test_the_cone(judgement):
    right, left = judgement.cone[1], judgement.cone[0]
    # halfway from 100 psi at 4 in to 500 psi at 10 in; never in the slot
    assert (left.limit_depth_in, right.limit_depth_in) == (None, near(7.0))
    (agrees,) = judgement.cone_agrees
    assert (agrees.tested, agrees.agree, agrees.shallower, agrees.softer) == (2, 1, 0, 1)


# the grade


def test_the_parts_of_the_grade(grade):
    part = {one.name: one.score for one in grade.parts}
    # descent / 25, at most 1. Round a corner: 0.1820 whole, then the integral of (45 - atan 2u) / 25 from
    # 0.1820 to 0.5 = 0.1439. t: 6.2 + 0.1820 + 0.1439 = 6.5259 of 9.2; the others all of it
    # (57.941 + 6 x 6.5259 + 6) / 119.141 = 0.8653; (0.8653 - 0.5) / 0.45 = 0.8118
    assert part["descent"] == near(81.2, abs=0.6)
    assert part["passage"] == near(100 * 4 / 11, abs=0.1)
    # chord over 3 in, u from the corner: sqrt((1.5 - u)^2 + (1.5 + u)^2) / 3 for |u| < 1.5
    # t loses 3 - (sqrt 2 / 3) x 1.5^2 (sqrt 2 + asinh 1) = 0.5652; 1 - 6 x 0.5652 / 119.141 = 0.9715
    # (0.9715 - 0.85) / 0.14 = 0.868
    assert part["straightness"] == near(86.8, abs=0.6)
    # (0.5 - 2 / 119.141) / 0.5
    assert part["roundness"] == near(96.6, abs=0.2)
    # berms: descent (6 x 6.5259 + 6) / 61.2 = 0.7378, scored 0.5285. Passage beside four roots that do as
    # the wall does: at 7.0 (1 + 4/11) / (7 + 4) = 0.1240 held, at 7.2 (6 + 2.4) / (6 + 4) = 0.84:
    # 0.8760 x 0.16 = 0.1402. (0.5285 + 0.1402) / 2 = 0.3343; the wall (0.8118 + 0.3636) / 2 = 0.5877
    # 1 - 2 x (0.5877 - 0.3343) = 0.493
    assert part["evenness"] == near(49.3, abs=0.8)


def test_the_score_and_its_verdict(grade):
    weights = [one.weight for one in grade.parts]
    assert weights == near([0.30, 0.30, 0.15, 0.10, 0.15])
    # 24.36 + 10.91 + 13.02 + 9.66 + 7.40
    assert grade.score.value == near(65.3, abs=0.5)
    # at least 1.96 x 4 to either side: over the edge at 60, under that at 80
    assert grade.score.low < 65.3 - 7.0 and grade.score.high > 65.3 + 7.0
    assert grade.verdict == "slowed or turned"


def test_the_advice(judgement):
    deeper, closer = judgement.advice
    # the layer to the half inch, 7.5; an inch below 7.32 is 8.32, to the half inch 8.5
    assert deeper.kind == "run deeper"
    assert deeper.text == (
        "A layer at 7.5 in turned roots. If it is dry enough to fracture there, run points at about 8.5 in "
        "(give or take 0.5), an inch below it, and no deeper."
    )
    assert "7 of 11 roots that reached 7.3 in" in deeper.evidence
    assert "15 to 65 of 100 get through" in deeper.evidence
    # 5.3 working depths, more than 1.5, and uneven (below 60)
    assert closer.kind == "closer shanks" and "5.3 working depths" in closer.text
    assert closer.evidence == "Evenness 49 of 100; shanks 32.0 in apart, run 6.0 in deep."


# a wave


def test_a_wave_on_paper():
    """x = 0.1 sin(2 pi z / 1.5): length by the elliptic integral, wave as drawn."""
    steepness = 0.1 * 2 * np.pi / 1.5
    z = np.arange(0, 18.0001, 0.005)
    root = trace(np.column_stack([0.1 * np.sin(2 * np.pi * z / 1.5), 1 + z]))
    (read,) = measure_wall((root,), plane(), SETTINGS.measure).roots
    # a period is 4 sqrt(1 + a^2) E(a^2 / (1 + a^2)) over the wavenumber; twelve of them
    a2 = steepness**2
    length_in = 12 * 4 * np.sqrt(1 + a2) * ellipe(a2 / (1 + a2)) * 1.5 / (2 * np.pi)
    assert (read.length_in, read.tortuosity) == near((length_in, length_in / 18))
    wave = waviness(read.trace.points, 0.05)
    # a wave of 1.5 in across is length_in / 12 long along the root
    assert (wave.amplitude_in, wave.wavelength_in) == near((0.1, length_in / 12), rel=0.1)

"""Figures of a wall: a handmade wall worked out on paper, and published ways to count root length."""

from dataclasses import replace

import numpy as np
import pytest
from handmade_roots import along, plane, trace

from rootread.measure import measure_wall
from rootread.measure.calibrated import DESCENT_SE_DEG
from rootread.measure.counting import FULL_FROM_IN, weight_in_descent
from rootread.measure.pattern import pattern_band
from rootread.schema import WALLS
from rootread.settings import MeasureSettings

SETTINGS = MeasureSettings()
PAPER_TOLERANCE = 0.01  # of the figure: the step of 0.05 in against the length of a root
SHARE_TOLERANCE = 0.004

SLANTED = along((0, 1), (6, 7))
PLUMB = along((10.5, 1), (10.5, 9))
TURNED = along((20, 1), (20, 5), (26, 5))
FLATTENED_WIDTH = np.where((PLUMB[:, 1] > 4) & (PLUMB[:, 1] < 6), 0.17, 0.10)


@pytest.fixture(scope="module")
def paper_wall():
    """Three roots: one at 45 degrees, one plumb and flattened from 4 to 6 in, one turned level at 5 in."""
    roots = (
        trace(SLANTED, name="slanted"),
        trace(PLUMB, width_in=FLATTENED_WIDTH, name="plumb"),
        trace(TURNED, name="turned"),
    )
    return measure_wall(roots, plane(), SETTINGS)


def test_lengths_on_paper(paper_wall):
    slanted, plumb, turned = paper_wall.roots
    assert slanted.length_in == pytest.approx(6 * np.sqrt(2), rel=PAPER_TOLERANCE)
    assert plumb.length_in == pytest.approx(8, rel=PAPER_TOLERANCE)
    assert turned.length_in == pytest.approx(10, rel=PAPER_TOLERANCE)
    assert paper_wall.root_length_in == pytest.approx(26.485, rel=PAPER_TOLERANCE)


def test_descents_on_paper(paper_wall):
    slanted, plumb, turned = paper_wall.roots
    assert slanted.descent_deg == pytest.approx(45)
    assert plumb.descent_deg == pytest.approx(90)
    # 3.5 in plumb, 1 in across the corner with mean 45, 5.5 in level
    assert turned.descent_deg == pytest.approx((3.5 * 90 + 1 * 45) / 10, rel=PAPER_TOLERANCE)
    assert turned.chord_descent_deg == pytest.approx(np.degrees(np.arctan2(4, 6)), abs=0.01)
    assert paper_wall.descent.value == pytest.approx(
        (8.485 * 45 + 8 * 90 + 10 * 36) / 26.485, rel=PAPER_TOLERANCE
    )


def test_shares_on_paper(paper_wall):
    # across the corner the tangent falls tan d = (0.5 - u) / (0.5 + u), u inches past it:
    # d = 25 at u = 0.182 and d = 40 at u = 0.044
    assert paper_wall.shallow_share == pytest.approx((6 - 0.182) / 26.485, abs=SHARE_TOLERANCE)
    assert paper_wall.in_pattern_share == pytest.approx((0.182 - 0.044) / 26.485, abs=SHARE_TOLERANCE)
    total = paper_wall.shallow_share + paper_wall.in_pattern_share + paper_wall.steep_share
    assert total == pytest.approx(1)


def test_the_run_and_the_turn_on_paper(paper_wall):
    slanted, plumb, turned = paper_wall.roots
    assert slanted.runs == plumb.runs == slanted.turns == plumb.turns == ()
    (run,), (turn,) = turned.runs, turned.turns
    # d = 12 at u = 0.325 past the corner
    assert run.length_in == pytest.approx(6 - 0.325, abs=0.06)
    assert run.depth_in == pytest.approx(5, abs=0.01)
    assert (run.x_from_in, run.x_to_in) == pytest.approx((20.325, 26), abs=0.06)
    assert (turn.x_in, turn.depth_in) == pytest.approx((20, 5), abs=0.06)
    assert paper_wall.sideways_in == run.length_in


def test_crookedness_on_paper(paper_wall):
    turned = paper_wall.roots[2]
    assert turned.tortuosity == pytest.approx(10 / np.sqrt(4**2 + 6**2), rel=PAPER_TOLERANCE)
    assert turned.turning_deg_per_in == pytest.approx(90 / 10, rel=0.02)
    assert paper_wall.tortuosity == pytest.approx(
        (8.485 + 8 + 10 * turned.tortuosity) / 26.485, rel=PAPER_TOLERANCE
    )


def test_flattening_on_paper(paper_wall):
    assert [root.flattened_share for root in paper_wall.roots] == pytest.approx([0, 2 / 8, 0], abs=0.01)
    assert paper_wall.flattened_share == pytest.approx(2 / 26.485, abs=SHARE_TOLERANCE)


def test_density_on_paper(paper_wall):
    cell_in2 = SETTINGS.density_cell_in**2
    assert paper_wall.density.sum() * cell_in2 == pytest.approx(paper_wall.root_length_in)
    column = int(np.searchsorted(paper_wall.density_x_in, 10.5, side="right")) - 1
    # the plumb root crosses the row from 2 to 4 in along 2 in of its length
    assert paper_wall.density[1, column] == pytest.approx(2 / cell_in2, rel=0.03)
    assert paper_wall.density.shape == (len(paper_wall.density_z_in) - 1, len(paper_wall.density_x_in) - 1)


def test_the_pattern_can_be_stated_from_the_plumb_line():
    plumb = pattern_band(replace(SETTINGS, pattern_from="plumb"), 0.0)
    assert (plumb.low_deg, plumb.high_deg) == (55.0, 60.0)
    level = pattern_band(SETTINGS, 0.0)
    assert (level.low_deg, level.high_deg, level.widened_by_deg) == (30.0, 35.0, 5.0)


def test_an_unsure_level_widens_the_pattern():
    assert pattern_band(SETTINGS, 4.0).widened_by_deg == 8.0
    assert pattern_band(SETTINGS, 1.0).widened_by_deg == 5.0


def test_a_root_counts_the_same_from_either_end():
    forth = measure_wall((trace(TURNED), trace(SLANTED, name="b")), plane(), SETTINGS)
    back = measure_wall((trace(TURNED[::-1]), trace(SLANTED, name="b")), plane(), SETTINGS)
    assert back.descent.value == pytest.approx(forth.descent.value, abs=0.1)
    assert back.shallow_share == pytest.approx(forth.shallow_share, abs=SHARE_TOLERANCE)


def test_thread_thin_and_bridged_stretches_do_not_shift_the_wall_descent():
    thin = trace(along((0, 4), (8, 4)), width_in=0.02, name="thin")
    bridged = trace(along((0, 6), (8, 6)), name="bridged", inferred=np.ones(161, dtype=bool))
    wall = measure_wall((trace(SLANTED), thin, bridged), plane(), SETTINGS)
    assert wall.descent.value == pytest.approx(45)
    assert wall.root_length_in == pytest.approx(8.485 + 16, rel=PAPER_TOLERANCE)


@pytest.mark.parametrize(
    ("length_in", "confidence", "weight"),
    [
        (12.0, 0.9, 1.0),
        (12.0, 0.5, 1.0),
        (12.0, 0.25, 0.5),
        (2.0, 0.9, 0.5),
        (2.0, 0.25, 0.25),
        (2.0, 1.0, 1.0),
    ],
)
def test_short_and_doubtful_roots_count_for_less_toward_descent(length_in, confidence, weight):
    """In full from 4 in and from even chances on, and where a person drew the root."""
    root = trace(along((0, 1), (0, 1 + length_in)), confidence=confidence)
    (reading,) = measure_wall((root,), plane(), SETTINGS).roots
    assert weight_in_descent(reading) == pytest.approx(weight, rel=PAPER_TOLERANCE)


def test_the_table_of_walls_says_from_which_length_on_a_root_counts_in_full():
    (meaning,) = [column.meaning for column in WALLS if column.name == "descent_deg"]
    assert f"those under {FULL_FROM_IN:g} in and doubtful ones for less" in meaning


def test_the_mean_descent_of_a_short_plumb_and_a_long_level_root_on_paper():
    """3 in at 90 degrees count three fourths, 12 in at 0 in full: (9 / 4 * 90) / (9 / 4 + 12)."""
    roots = (
        trace(along((0, 4), (12, 4)), confidence=0.9, name="level"),
        trace(along((20, 4), (20, 7)), confidence=0.9, name="plumb"),
    )
    wall = measure_wall(roots, plane(), SETTINGS)
    assert wall.descent.value == pytest.approx(202.5 / 14.25, rel=0.02)
    assert wall.shallow_share == pytest.approx(12 / 14.25, abs=SHARE_TOLERANCE)


def test_an_error_of_the_level_cancels_where_roots_fan_out_both_ways():
    right = [trace(along((x, 1), (x + 6, 7)), name=f"r{x}") for x in range(4)]
    left = [trace(along((x, 1), (x - 6, 7)), name=f"l{x}") for x in range(4)]
    one_way = measure_wall(right * 2, plane(level_se_deg=2.0), SETTINGS).descent
    fan = measure_wall(right + left, plane(level_se_deg=2.0), SETTINGS).descent
    assert one_way.high - one_way.value == pytest.approx(1.96 * np.hypot(2.0, DESCENT_SE_DEG), abs=0.01)
    assert fan.high - fan.value == pytest.approx(1.96 * DESCENT_SE_DEG, abs=0.01)


def test_where_no_root_ran_a_run_may_still_have_been_missed():
    steep = measure_wall((trace(along((0, 1), (2, 9))),), plane(), SETTINGS)
    assert steep.sideways_in == 0 and steep.intervals.sideways_in.high > SETTINGS.run_min_length_in
    assert measure_wall((), plane(), SETTINGS).intervals.sideways_in.high == 0


def test_a_wall_without_roots_has_no_means():
    wall = measure_wall((), plane(), SETTINGS)
    assert wall.root_length_in == wall.sideways_in == 0
    assert np.isnan([wall.descent.value, wall.shallow_share, wall.tortuosity, wall.flattened_share]).all()
    assert wall.density.size == 0


def test_a_wall_twice_the_size_has_twice_the_length_and_the_same_angles():
    points = along((2, 2), (7, 6), (10, 12))
    once = measure_wall((trace(points),), plane(), SETTINGS)
    twice = measure_wall((trace(points * 2),), plane(), SETTINGS)
    assert twice.root_length_in == pytest.approx(2 * once.root_length_in, rel=PAPER_TOLERANCE)
    assert twice.descent.value == pytest.approx(once.descent.value, abs=0.6)


def drawn_roots(seed, count=60):
    """Gently wavy roots in every direction over a wall 40 by 24 in."""
    rng = np.random.default_rng(seed)
    roots = []
    for index in range(count):
        heading = rng.uniform(0, 2 * np.pi) + np.cumsum(rng.normal(scale=0.05, size=160))
        steps = 0.05 * np.column_stack([np.cos(heading), np.sin(heading)])
        roots.append(trace(rng.uniform((8, 8), (32, 16)) + np.cumsum(steps, axis=0), name=f"r{index}"))
    return roots


def crossings(points, offsets, normal):
    """How often a polyline crosses the lines ``normal . p = offset``."""
    place = np.searchsorted(offsets, points @ normal)
    return int(np.abs(np.diff(place)).sum())


def test_root_length_agrees_with_newman_s_count_of_line_intersections():
    """Length = pi N A / (2 H), H the length of random lines in area A: Newman 1966, J. Applied Ecology
    3:139-145 (from memory). Sets of parallel lines at many angles stand in for random lines."""
    wall = measure_wall(drawn_roots(3), plane(), SETTINGS)
    spacing_in = 0.5
    estimates = []
    for angle in np.radians(np.arange(0, 180, 5)):
        normal = np.array([np.cos(angle), np.sin(angle)])
        offsets = np.arange(-80, 80, spacing_in)
        count = sum(crossings(root.trace.points, offsets, normal) for root in wall.roots)
        estimates.append(np.pi * count * spacing_in / 2)  # parallel lines: A / H is their spacing
    assert np.mean(estimates) == pytest.approx(wall.root_length_in, rel=0.01)


def test_root_length_agrees_with_tennant_s_grid():
    """Length = 11/14 x N x grid spacing: Tennant 1975, J. Ecology 63:995-1001 (from memory)."""
    wall = measure_wall(drawn_roots(5, count=150), plane(), SETTINGS)
    grid_in = 0.4
    offsets = np.arange(-80, 80, grid_in)
    count = sum(
        crossings(root.trace.points, offsets, np.array(normal))
        for root in wall.roots
        for normal in ((1.0, 0.0), (0.0, 1.0))
    )
    assert 11 / 14 * count * grid_in == pytest.approx(wall.root_length_in, rel=0.03)


def test_no_share_of_root_length_is_told_to_reach_beyond_the_whole():
    straight_down = [trace(along((x, 1.0), (x + 0.5, 12.0)), name=f"r{x}") for x in range(3)]
    readings = measure_wall(straight_down, plane(), MeasureSettings())
    sure = readings.intervals
    assert readings.steep_share == pytest.approx(1.0, abs=0.02)
    for share in (sure.shallow_share, sure.in_pattern_share, sure.steep_share, sure.flattened_share):
        assert 0.0 <= share.low <= share.high <= 1.0

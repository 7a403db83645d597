"""Layers: found where roots gather sideways, at the right depth, and nowhere else."""

import tracemalloc
from dataclasses import replace

import numpy as np
import pytest
from handmade_roots import along, plane, trace
from scipy.stats import kstest

from rootread.fieldsheet import RecordedLayer
from rootread.judge import find_layers, scan
from rootread.judge.diversions import diversions
from rootread.judge.gathering import Band, Gathering, band_of
from rootread.judge.layers import SHAPE_SE_IN, layer_depth
from rootread.judge.passage import LayerPlace, outcomes
from rootread.judge.scan import strongest_gathering
from rootread.judge.signs import Sign, signs_of
from rootread.measure import measure_wall
from rootread.settings import JudgeSettings, MeasureSettings

SETTINGS = JudgeSettings(permutations=199)
DEPTH_TOLERANCE_IN = 0.4


def read(roots, **kwargs):
    return measure_wall(roots, plane(**kwargs), MeasureSettings())


def going_down(x, to_z, name, from_z=1.0):
    """Descends at 60 degrees, alternately left and right, so that roots cover the wall."""
    reach = (to_z - from_z) / np.tan(np.radians(60)) * (1 if int(name[1:]) % 2 else -1)
    return trace(along((x, from_z), (x + reach, to_z)), name=name)


def turned_at(x, z, name, level_in=3.0, then_z=None):
    corners = [(x, 1.0), (x + (z - 1.0) / 2, z), (x + (z - 1.0) / 2 + level_in, z)]
    if then_z is not None:
        corners.append((corners[-1][0] + 1.0, then_z))
    return trace(along(*corners), name=name)


def open_wall(seed, count=24):
    rng = np.random.default_rng(seed)
    return [going_down(x, rng.uniform(7, 22), f"o{i}") for i, x in enumerate(rng.uniform(-18, 18, count))]


def blocked_wall(seed, depth_in=6.0, count=14, left=-18.0, right=15.0, name="b"):
    """Roots lie on the layer or up to half an inch above it."""
    rng = np.random.default_rng(seed)
    return [
        turned_at(x, depth_in - abs(rng.normal(scale=0.25)), f"{name}{i}", rng.uniform(2, 5))
        for i, x in enumerate(rng.uniform(left, right - 6, count))
    ]


@pytest.mark.parametrize("seed", range(5))
def test_a_layer_that_turned_most_roots_is_found_at_its_depth(seed):
    free = [going_down(x, 15.0, f"f{i}") for i, x in enumerate((-6.0, -4.0, -2.0, 0.0, 2.0))]
    (layer,) = find_layers(read(blocked_wall(seed) + free), (), SETTINGS)
    assert layer.depth_in == pytest.approx(6.0, abs=DEPTH_TOLERANCE_IN)
    assert layer.p_value < 0.01
    assert (layer.reached, layer.turned, layer.crossed, layer.stopped) == (19, 14, 5, 0)
    assert layer.passage == pytest.approx(5 / 19)
    assert layer.recorded is None


@pytest.mark.parametrize("seed", range(5))
def test_an_open_wall_has_no_layer(seed):
    assert find_layers(read(open_wall(seed)), (), SETTINGS) == ()


@pytest.mark.parametrize("seed", range(4))
def test_a_layer_under_half_the_wall_is_found_with_its_reach(seed):
    rng = np.random.default_rng(seed)
    free = [going_down(x, rng.uniform(12, 22), f"f{i}") for i, x in enumerate(rng.uniform(1, 18, 12))]
    (layer,) = find_layers(read(blocked_wall(seed, count=7, right=0.0) + free), (), SETTINGS)
    assert layer.depth_in == pytest.approx(6.0, abs=DEPTH_TOLERANCE_IN)
    assert layer.x_from_in > -18 and layer.x_to_in < 7


def test_two_layers_are_told_apart():
    shallow = blocked_wall(1, 5.0, 10, name="s")
    deep = blocked_wall(2, 12.0, 10, left=-14.0, name="d")
    first, second = find_layers(read(shallow + deep + open_wall(1, 4)), (), SETTINGS)
    assert first.depth_in == pytest.approx(5.0, abs=DEPTH_TOLERANCE_IN)
    assert second.depth_in == pytest.approx(12.0, abs=DEPTH_TOLERANCE_IN)


def test_a_sloped_layer_is_a_line_and_not_a_depth():
    """It falls 3 in over 30 in of wall; roots run along it, and others cross."""
    rng = np.random.default_rng(2)
    across = np.linspace(-15, 12, 14)
    held = [turned_at(x, 5.0 + 0.1 * (x + 15.0), f"b{i}", 2.0) for i, x in enumerate(across)]
    free = [going_down(x, rng.uniform(14, 22), f"f{i}") for i, x in enumerate(np.linspace(-14, 14, 8))]
    (layer,) = find_layers(read(held + free), (), SETTINGS)
    assert layer.line.shape == "sloped"
    for member in held:
        x, z = member.points[-20]  # on the layer, an inch before its end
        assert float(layer.line.depth_at(x)) == pytest.approx(z, abs=DEPTH_TOLERANCE_IN)
    assert layer.turned == 14 and layer.crossed >= 7  # the outermost may pass beside it
    assert layer.depth_range_in[1] - layer.depth_range_in[0] > 2.5


@pytest.mark.parametrize("step_in", [1.5, 3.0])
def test_a_stepped_layer_is_one_layer_with_two_depths(step_in):
    left = blocked_wall(1, 5.0, 9, left=-18.0, right=-2.0, name="l")
    right = blocked_wall(2, 5.0 + step_in, 9, left=2.0, right=18.0, name="r")
    free = [going_down(x, 20.0 + i / 2, f"f{i}") for i, x in enumerate((-12.0, -6.0, 6.0, 12.0))]
    (layer,) = find_layers(read(left + right + free), (), SETTINGS)
    assert layer.line.shape == "stepped"
    depths = layer.line.depth_at(np.array([-15.0, 15.0]))
    assert depths == pytest.approx([5.0, 5.0 + step_in], abs=DEPTH_TOLERANCE_IN)


def test_a_few_roots_that_turned_beside_a_layer_do_not_draw_it_to_their_depth():
    """Nine on the left show it beyond doubt; three on the right may have gathered by chance."""
    left = blocked_wall(1, 5.0, 9, left=-18.0, right=-2.0, name="l")
    right = [turned_at(x, 7.0 + 0.1 * i, f"r{i}", then_z=18.0) for i, x in enumerate((6.0, 9.0, 12.0))]
    right.append(turned_at(9.0, 14.0, "r4", then_z=18.0))
    free = [going_down(x, 20.0 + i / 2, f"f{i}") for i, x in enumerate((-12.0, 6.0))]
    found = find_layers(read(left + right + free), (), SETTINGS)
    assert found[0].line.shape == "level"
    assert found[0].depth_in == pytest.approx(5.0, abs=DEPTH_TOLERANCE_IN)


def test_a_root_that_turned_far_beside_a_layer_is_none_of_it():
    """The layer goes on a little beyond where roots gather, but not over a foot of wall without any."""
    inside = [Sign(i, "diverted", x, 6.0, x, x + 2.0) for i, x in enumerate((-16.0, -13.0, -10.0))]
    near = Sign(3, "diverted", -4.0, 6.6, -4.0, -1.0)
    deeper, far = (Sign(i, "diverted", x, z, x, x + 1.0) for i, x, z in ((4, -12.0, 7.5), (5, 7.0, 6.6)))
    gathering = Gathering(5.6, 6.4, -18.0, -6.0, statistic=8.0, p_value=0.01)
    signs = [*inside, near, deeper, far]
    band = band_of(signs, gathering)
    assert [sign for sign in signs if band.holds(sign)] == [*inside, near]


def test_a_level_layer_is_not_given_a_slope():
    shapes = [find_layers(read(blocked_wall(seed)), (), SETTINGS)[0].line.shape for seed in range(8)]
    assert set(shapes) == {"level"}


def test_roots_that_only_stop_together_show_a_layer_if_others_go_on():
    rng = np.random.default_rng(4)
    across = np.linspace(-17, 17, 12)
    stopped = [going_down(x, 7.0 - 0.2 * rng.random(), f"s{i}") for i, x in enumerate(across)]
    free = [going_down(x, rng.uniform(10, 22), f"f{i}") for i, x in enumerate(np.linspace(-16, 16, 12))]
    (layer,) = find_layers(read(stopped + free), (), SETTINGS)
    assert layer.depth_in == pytest.approx(7.0, abs=DEPTH_TOLERANCE_IN)
    assert layer.stopped == 12 and layer.turned == 0 and layer.crossed == 12


def test_many_that_stop_and_a_few_that_turn_show_a_layer_though_hardly_one_is_seen_below():
    held = [going_down(x, 7.0 + 0.02 * i, f"s{i}") for i, x in enumerate(np.linspace(-15, 15, 8))]
    turned = [turned_at(x, 7.0, f"t{i}") for i, x in enumerate((-6.0, 4.0))]
    free = [going_down(x, 15.0 + 2 * i, f"f{i}") for i, x in enumerate((-9.0, 9.0))]
    (layer,) = find_layers(read(held + turned + free), (), SETTINGS)
    assert layer.depth_in == pytest.approx(7.0, abs=DEPTH_TOLERANCE_IN)
    assert layer.turned == 2 and layer.stopped >= 6


def kinked_at(z, roots, of):
    """Some of the roots go level for 1.2 in at one depth and then on down."""
    across = np.random.default_rng(3).permutation(np.linspace(-15, 12, of))
    kinked = [turned_at(x, z, f"k{i}", 1.2, then_z=18.0) for i, x in enumerate(across[:roots])]
    return kinked + [going_down(x, 16.0 + 0.3 * i, f"f{i}") for i, x in enumerate(across[roots:])]


def test_a_few_roots_that_turn_level_for_a_moment_are_no_layer():
    assert find_layers(read(kinked_at(6.0, roots=5, of=16)), (), SETTINGS) == ()


def test_where_most_roots_turn_for_a_moment_something_made_them():
    (layer,) = find_layers(read(kinked_at(6.0, roots=12, of=16)), (), SETTINGS)
    assert layer.turned == 12 and layer.sideways_in == 0


def test_where_all_roots_end_together_the_face_may_end():
    ended = [going_down(x, 9.0, f"s{i}") for i, x in enumerate(np.linspace(-17, 17, 16))]
    assert find_layers(read(ended), (), SETTINGS) == ()


def test_roots_squeezed_at_one_depth_and_some_stopped_there_show_a_layer():
    rng = np.random.default_rng(5)

    def squeezed(x, i):
        line = going_down(x, 16.0 + i, f"w{i}")
        flat = (line.points[:, 1] > 8.0) & (line.points[:, 1] < 11.0)
        return replace(line, width_in=np.where(flat, 0.19, 0.10))

    wall = [squeezed(x, i) for i, x in enumerate(np.linspace(-16, 16, 9))]
    wall += [going_down(x, 8.0 - 0.2 * rng.random(), f"s{i}") for i, x in enumerate(np.linspace(-14, 14, 5))]
    (layer,) = find_layers(read(wall), (), SETTINGS)
    assert layer.depth_in == pytest.approx(8.0, abs=DEPTH_TOLERANCE_IN)


@pytest.mark.parametrize("seed", range(6))
def test_roots_of_like_lengths_that_end_over_some_inches_are_no_layer(seed):
    rng = np.random.default_rng(seed)
    ends = [going_down(x, rng.normal(10, 2), f"e{i}") for i, x in enumerate(rng.uniform(-17, 17, 25))]
    deep = [going_down(x, 20.0, f"d{i}") for i, x in enumerate((-10.0, 0.0, 10.0))]
    assert find_layers(read(ends + deep), (), SETTINGS) == ()


def test_two_roots_at_one_depth_are_no_layer():
    wall = [turned_at(-10, 6, "a"), turned_at(5, 6, "b"), *open_wall(3, 10)]
    assert find_layers(read(wall), (), SETTINGS) == ()


@pytest.mark.parametrize(("confidence", "layers"), [(0.1, 0), (0.6, 1), (1.0, 1)])
def test_traces_that_are_hardly_roots_show_no_layer(confidence, layers):
    """Six that turned at one depth: with a chance of 0.1 each, none of them is likely to be a root."""
    doubted = [replace(root, confidence=confidence) for root in blocked_wall(1, count=6)]
    assert len(find_layers(read(doubted + open_wall(1, 6)), (), SETTINGS)) == layers


@pytest.mark.parametrize(("then_level_in", "layers"), [(1.2, 0), (3.0, 1)])
def test_runs_of_doubtful_traces_show_a_layer_and_their_turns_do_not(then_level_in, layers):
    """A trace that joins two roots is wrong as a whole, yet where it runs a root runs."""
    across = (-10.0, -2.0, 3.0, 8.0)
    doubted = [
        replace(turned_at(x, 6.0, f"t{i}", then_level_in, then_z=12.0), confidence=0.3)
        for i, x in enumerate(across)
    ]
    assert len(find_layers(read(doubted + open_wall(1, 2)), (), SETTINGS)) == layers


def wiggly(x, name, then_level_at=None):
    """Descends at 35 degrees and swings by as much, so that it goes level for a moment every few inches.

    With ``then_level_at`` it runs on along that depth for 3 in, still swinging a little, and then on down.
    """
    rng = np.random.default_rng(int(name[1:]))
    length_in, wave_in = rng.uniform(16, 24), rng.uniform(2.5, 3.5)
    side = 1 if int(name[1:]) % 2 else -1
    s = np.arange(0, length_in, 0.05)
    descent = 35 + 35 * np.sin(2 * np.pi * s / wave_in + rng.uniform(0, 2 * np.pi))
    z = 1.0 + np.cumsum(np.sin(np.radians(descent))) * 0.05
    if then_level_at is not None:
        runs = (s >= (begin := s[np.argmax(z >= then_level_at)])) & (s < begin + 3.0)
        descent = np.where(runs, 6 * np.sin(2 * np.pi * s / wave_in), descent)
        z = 1.0 + np.cumsum(np.sin(np.radians(descent))) * 0.05
    return trace(np.column_stack([x + side * np.cumsum(np.cos(np.radians(descent))) * 0.05, z]), name=name)


@pytest.mark.parametrize("seed", range(4))
def test_a_layer_is_found_under_roots_that_turn_level_everywhere(seed):
    """Eight of twenty run 3 in at one depth; by the count of turns alone chance would do as much."""
    across = np.random.default_rng(seed).permutation(np.linspace(-16, 16, 20))
    held = [wiggly(x, f"h{100 * seed + i}", then_level_at=7.0) for i, x in enumerate(across[:8])]
    free = [wiggly(x, f"f{100 * seed + 50 + i}") for i, x in enumerate(across[8:])]
    readings = read(held + free)
    (layer,) = find_layers(readings, (), SETTINGS)
    assert layer.depth_in == pytest.approx(7.0, abs=DEPTH_TOLERANCE_IN)
    elsewhere = [event for event in diversions(readings.roots) if abs(event.depth_in - 7.0) > 1.0]
    assert len(elsewhere) > 2 * layer.turned


@pytest.mark.parametrize("seed", range(4))
def test_roots_that_turn_level_everywhere_show_no_layer(seed):
    across = np.random.default_rng(seed).permutation(np.linspace(-16, 16, 20))
    readings = read([wiggly(x, f"f{100 * seed + i}") for i, x in enumerate(across)])
    assert len(diversions(readings.roots)) > 20
    assert find_layers(readings, (), SETTINGS) == ()


def test_a_root_that_ran_far_weighs_more_than_one_that_turned_level_for_a_moment():
    weights = [Sign(0, "diverted", 0.0, 6.0, 0.0, run, run).weight for run in (0.0, 1.5, 3.0, 4.0, 7.0)]
    assert weights == [1, 3, 6, 8, 8]


def led_along(root, name, way_down=()):
    """A trace of which nothing is seen; a way of its own may lead to the root that it lies on."""
    shared = root.points if not way_down else root.points[root.points[:, 1] >= way_down[-1][1]]
    points = np.concatenate([along(*way_down), shared]) if way_down else shared
    return trace(points, name=name, inferred=np.ones(len(points), dtype=bool))


def own_turns(readings):
    """Of each trace that turned, whether that is a sign of its own."""
    signs = signs_of(readings.roots, diversions(readings.roots), readings.counted_width_in)
    return [sign.own for sign in signs if sign.kind == "diverted"]


def test_a_turn_that_is_seen_once_is_one_sign_however_many_roots_are_led_along_it():
    """Two roots that ran at one depth are no layer, nor are they with two traces more on one of them."""
    seen, another = turned_at(-10.0, 6.0, "a"), turned_at(5.0, 6.0, "b")
    led = [led_along(seen, f"l{i}") for i in range(2)]
    readings = read([seen, another, *led, *open_wall(3, 10)])
    assert own_turns(readings) == [True, True, False, False]
    assert find_layers(readings, (), SETTINGS) == ()


def test_the_turn_that_was_seen_is_the_sign_whichever_trace_comes_first():
    seen = turned_at(-10.0, 6.0, "a")
    assert own_turns(read([led_along(seen, "l"), seen])) == [False, True]


def test_a_trace_led_along_a_root_at_a_layer_was_turned_with_it():
    """It is no sign of a layer; but where others show one, it is one of the roots that it turned."""
    held = blocked_wall(1)
    (layer,) = find_layers(read([*held, led_along(held[0], "l")]), (), SETTINGS)
    assert layer.turned == len(held) + 1


def test_roots_that_come_down_apart_and_run_on_as_one_were_turned_each():
    """Roots lie in bundles on a layer, and one alone is seen there; but each came down to it by itself."""
    seen = turned_at(-10.0, 6.0, "a")
    beside = led_along(seen, "l", way_down=((-6.5, 1.0), (-7.5, 5.95)))
    assert own_turns(read([seen, beside])) == [True, True]


@pytest.mark.parametrize("later_in", np.arange(0.0, 0.2, 0.05))
@pytest.mark.parametrize("step_in", [0.05, 0.2])
def test_a_trace_lies_on_another_wherever_along_it_the_points_of_each_are(step_in, later_in):
    corners = (-10.0, 1.0), (-7.5, 6.0), (-3.0, 6.0)
    line = along(*corners)
    late = line[np.hypot(*(line - line[0]).T) >= later_in]
    led = trace(late, name="l", inferred=np.ones(len(late), dtype=bool))
    readings = measure_wall([trace(line, name="a"), led], plane(), MeasureSettings(step_in=step_in))
    assert own_turns(readings) == [True, False]


def test_sure_traces_led_along_doubtful_roots_make_these_no_surer():
    doubted = [replace(root, confidence=0.1) for root in blocked_wall(1, count=6)]
    led = [replace(led_along(root, f"l{i}"), confidence=0.95) for i, root in enumerate(doubted)]
    assert find_layers(read([*doubted, *led, *open_wall(1, 6)]), (), SETTINGS) == ()


def test_roots_that_are_seen_side_by_side_were_turned_each():
    """Thin ones, a thirtieth of an inch apart."""
    side_by_side = [turned_at(-10.0 + 0.03 * i, 6.0 + 0.03 * i, f"s{i}") for i in range(3)]
    assert own_turns(read(side_by_side)) == [True, True, True]


def test_turns_at_many_depths_are_no_layer():
    wall = [turned_at(-15 + 2 * i, 3 + 1.3 * i, f"t{i}", then_z=22) for i in range(12)]
    assert find_layers(read(wall), (), SETTINGS) == ()


def level_pieces(count=9):
    return [
        trace(along((x, 6 + 0.02 * i), (x + 3, 6 + 0.02 * i)), name=f"p{i}")
        for i, x in enumerate(np.linspace(-15, 12, count))
    ]


def test_broken_traces_still_show_the_layer():
    """Some runs have lost their way down, as where a clod hid the bend."""
    wall = [*level_pieces(), *blocked_wall(1, count=6), *open_wall(1, 12)]
    (layer,) = find_layers(read(wall), (), SETTINGS)
    assert layer.depth_in == pytest.approx(6.0, abs=DEPTH_TOLERANCE_IN)
    assert layer.turned == 15


def test_level_pieces_that_no_root_leads_down_to_are_no_layer():
    """The edge of the pit floor can look like so many level roots."""
    floor = [trace(along((x, 24.0), (x + 3, 24.1)), name=f"p{i}") for i, x in enumerate(range(-15, 12, 3))]
    assert find_layers(read(floor + open_wall(1, 12)), (), SETTINGS) == ()


def test_a_layer_takes_the_name_the_field_sheet_gives_it():
    wall = read(blocked_wall(1))
    recorded = (RecordedLayer("disk", 6.5), RecordedLayer("A/B", 12.0))
    assert find_layers(wall, recorded, SETTINGS)[0].recorded == "disk"
    assert find_layers(wall, (RecordedLayer("A/B", 12.0),), SETTINGS)[0].recorded is None


def test_layers_are_the_same_from_run_to_run():
    wall = read(blocked_wall(3) + open_wall(3, 5))
    assert find_layers(wall, (), SETTINGS) == find_layers(wall, (), SETTINGS)


def test_a_wall_without_roots_has_no_layers():
    assert find_layers(read(()), (), SETTINGS) == ()


def test_an_unsure_scale_shows_in_the_depth():
    wall = blocked_wall(4)
    sure = find_layers(read(wall), (), SETTINGS)[0]
    unsure_plane = plane()
    unsure_plane.scale.__dict__["px_per_in_se"] = 3.75  # 5 % of 75 px/in
    unsure = find_layers(measure_wall(wall, unsure_plane, MeasureSettings()), (), SETTINGS)[0]
    assert unsure.depth_se_in**2 - sure.depth_se_in**2 == pytest.approx((0.05 * 6) ** 2, rel=0.1)


# depth of the layer under roots that lie on it


@pytest.mark.parametrize("count", [4, 8, 20])
def test_roots_lying_on_a_layer_give_its_depth_and_an_honest_error(count):
    rng = np.random.default_rng(count)
    estimates = [layer_depth(8.0 - rng.exponential(0.2, count)) for _ in range(400)]
    depth, se = np.array(estimates).T
    assert depth.mean() == pytest.approx(8.0, abs=0.06)
    assert depth.std() < np.mean(se) < 2.5 * depth.std() + SHAPE_SE_IN
    assert (np.abs(depth - 8.0) < 1.96 * se).mean() >= 0.90


@pytest.mark.parametrize("scatter", ["half-normal", "uniform"])
def test_another_scatter_above_the_layer_stays_within_the_error(scatter):
    rng = np.random.default_rng(0)
    above = {
        "half-normal": np.abs(rng.normal(scale=0.3, size=(400, 8))),
        "uniform": rng.uniform(0, 0.5, (400, 8)),
    }
    depth, se = np.array([layer_depth(8.0 - rise) for rise in above[scatter]]).T
    assert (np.abs(depth - 8.0) < 1.96 * se).mean() >= 0.90


def test_the_mean_depth_alone_would_lie_above_the_layer():
    rng = np.random.default_rng(0)
    ran = 8.0 - rng.exponential(0.2, 2000)
    assert ran.mean() < 7.85 < layer_depth(ran)[0]


def test_a_root_that_ran_well_below_the_others_does_not_draw_the_layer_down_to_it():
    """Roots run on a layer or above it, so it ran on something else; one well above may have run on this."""
    ran = 8.0 - np.array([0.0, 0.05, 0.1, 0.2, 0.35])
    assert layer_depth(np.append(ran, 8.8)) == layer_depth(ran)
    assert layer_depth(np.append(ran, 7.2)) != layer_depth(ran)


# the permutation test


def chance_wall(rng, count=30, longest_run_in=0.0):
    """Plumb roots of all lengths, most turned once at a depth of no meaning, and ran from there if at all."""
    x, bottom = rng.uniform(0, 36, count), rng.uniform(4, 22, count)
    lines = [along((a, 0.8), (a, b)) for a, b in zip(x, bottom, strict=True)]
    turned = rng.choice(count, 20, replace=False)
    depth = rng.uniform(1.0, bottom[turned])
    ran = longest_run_in * np.linspace(0, 1, len(turned))
    events = [
        Sign(int(i), "diverted", float(x[i]), float(z), float(x[i]), float(x[i]), float(run))
        for i, z, run in zip(turned, depth, ran, strict=True)
    ]
    return events, lines


@pytest.fixture(scope="module")
def chance_gatherings():
    rng = np.random.default_rng(20)
    return [strongest_gathering(*chance_wall(rng), (0.0, 36.0), 199, rng) for _ in range(200)]


@pytest.fixture(scope="module")
def chance_gatherings_of_runs():
    rng = np.random.default_rng(20)
    walls = [chance_wall(rng, longest_run_in=5.0) for _ in range(200)]
    return [strongest_gathering(*wall, (0.0, 36.0), 199, rng) for wall in walls]


@pytest.fixture(scope="module")
def chance_gatherings_with_close_calls():
    rng = np.random.default_rng(20)
    walls = [chance_wall(rng) for _ in range(200)]
    return [strongest_gathering(*wall, (0.0, 36.0), 199, rng, decided_at=0.05) for wall in walls]


@pytest.mark.parametrize(
    "gatherings",
    ["chance_gatherings", "chance_gatherings_of_runs", "chance_gatherings_with_close_calls"],
)
def test_p_is_uniform_when_turns_have_no_common_depth(gatherings, request):
    p = np.array([gathering.p_value for gathering in request.getfixturevalue(gatherings)])
    assert kstest(p, "uniform").pvalue > 0.01
    assert (p < 0.05).mean() == pytest.approx(0.05, abs=0.04)


def test_a_close_call_rests_on_the_wall_and_not_on_the_draw():
    """The same wall judged again and again: where its p value decides, it strays by a third as much."""
    wall = chance_wall(np.random.default_rng(20))

    def p_values(decided_at):
        draws = [np.random.default_rng(seed) for seed in range(20)]
        found = [strongest_gathering(*wall, (0.0, 36.0), 99, rng, (), decided_at) for rng in draws]
        return np.array([gathering.p_value for gathering in found])

    plain = p_values(None)
    close = p_values(float(plain.mean()))
    assert close.mean() == pytest.approx(plain.mean(), abs=3 * plain.std() / np.sqrt(len(plain)))
    assert close.std() < plain.std() / 2
    assert (p_values(float(plain.mean()) / 50) == plain).all()  # far from deciding, none more are drawn


def most_memory_mb(permutations, decided_at=None):
    """The most memory held at a time while a wall is compared with so many random ones."""
    wall, rng = chance_wall(np.random.default_rng(20)), np.random.default_rng(0)
    tracemalloc.start()
    strongest_gathering(*wall, (0.0, 36.0), permutations, rng, (), decided_at)
    most = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    return most


def test_memory_does_not_grow_with_the_number_of_random_walls():
    most = most_memory_mb(scan.WALLS_AT_ONCE)
    assert most_memory_mb(5 * scan.WALLS_AT_ONCE) < 1.2 * most
    assert most < 100


@pytest.mark.parametrize("walls", [1, scan.WALLS_AT_ONCE, scan.WALLS_AT_ONCE + 1, 2 * scan.WALLS_AT_ONCE])
def test_every_random_wall_is_counted_however_many_are_made_at_once(walls):
    signs, centrelines = chance_wall(np.random.default_rng(20))
    chances = scan._chances(signs, centrelines, depth_bins=120)
    view = scan._slanted(chances, (0.0, 36.0), 0.0)
    assert scan._as_strong([view], chances, walls, 0.0, np.random.default_rng(0)) == walls


def test_the_usual_number_of_random_walls_is_made_at_once():
    assert JudgeSettings().permutations <= scan.WALLS_AT_ONCE


def test_without_correction_for_looking_everywhere_chance_would_pass_for_a_layer(chance_gatherings):
    """The Poisson tail of the best window alone: the check above fails without the scan's correction."""
    # twice the log likelihood ratio of one window is near chi-squared with one degree of freedom
    uncorrected = np.array([gathering.statistic for gathering in chance_gatherings])
    assert (2 * uncorrected > 3.84).mean() > 0.5


def test_chance_brings_no_sign_where_a_layer_was_set_aside():
    """The signs that are left lie outside its band, so they are moved outside it, as many as there are."""
    signs, centrelines = chance_wall(np.random.default_rng(22))
    band = Band(8.0, x_from_in=-3.0, x_to_in=21.0, slope=0.0, middle_x_in=18.0)
    left = [sign for sign in signs if not band.holds(sign)]
    bins = int(max(line[:, 1].max() for line in centrelines) / scan.DEPTH_BIN_IN) + 1
    middles_in = (np.arange(bins) + 0.5) * scan.DEPTH_BIN_IN
    chances = scan._chances(left, centrelines, bins, [band])
    in_band = np.array([band.covers(x, middles_in) for x in chances.x_in])
    assert in_band.any() and chances.chance[in_band].sum() < 1e-6
    assert chances.chance.sum(axis=1) == pytest.approx(1.0)
    assert scan._chances(left, centrelines, bins).chance[in_band].sum() > 0.5


def plain_statistics(view, depth_bins):
    """The largest statistic of one wall, window by window and sign by sign."""
    each = view.weight
    sign = np.arange(len(depth_bins))
    z, x = view.z_bin[sign, depth_bins], view.x_bin[sign, depth_bins]
    largest = 0.0
    for shape, (height, (left, right)) in enumerate(scan._window_shapes()):
        for start in range(view.bins):
            inside = (z >= start) & (z < start + height) & (x >= left) & (x < right)
            weight, expected = each[inside].sum(), view.expected[shape, start]
            if inside.sum() >= scan.FEWEST_EVENTS and weight > expected:
                ratio = weight * np.log(weight / expected) - (weight - expected)
                ratio /= (each**2).sum() / each.sum()
                largest = max(largest, ratio - (scan.SLANT_COST if view.slope else 0.0))
    return largest


@pytest.mark.parametrize("longest_run_in", [0.0, 5.0])
def test_counting_signs_tells_the_same_as_every_window_of_every_random_wall(monkeypatch, longest_run_in):
    """The fast scan against its definition, on walls of chance, level and slanting."""
    monkeypatch.setattr(scan, "SLANT_COST", 0.3)  # so little that a slant is not always worth nothing
    rng = np.random.default_rng(21)
    signs, centrelines = chance_wall(rng, longest_run_in=longest_run_in)
    depth_bins = int(max(line[:, 1].max() for line in centrelines) / scan.DEPTH_BIN_IN) + 1
    chances = scan._chances(signs, centrelines, depth_bins)
    drawn = chances.draw(12, rng)
    for slope in (0.0, 0.12):
        view = scan._slanted(chances, (0.0, 36.0), slope)
        largest = np.array([plain_statistics(view, walls) for walls in drawn])
        assert np.ptp(largest) > 0
        assert view.strongest(chances.own).statistic == pytest.approx(plain_statistics(view, chances.own))
        for threshold in (0.5, float(np.median(largest)) + 1e-6, float(largest.max()) + 1e-6):
            assert (view.reaches(drawn, threshold) == (largest >= threshold)).all()


# what became of each root


def test_roots_cross_turn_stop_or_never_get_there():
    roots = [
        trace(along((0, 1), (0, 12)), name="crosses"),
        turned_at(2, 6.0, "turns"),
        trace(along((9.5, 1), (9.5, 5.9)), name="stops"),
        trace(along((12, 1), (12, 3)), name="too short to tell"),
        trace(along((16, 1), (16, 6.0)), name="cut by the photo's edge", cut=True),
        trace(along((20, 6.2), (20, 10)), name="begins below"),
        trace(along((60, 1), (60, 12)), name="beside the layer"),
    ]
    readings = read(roots)
    turned = {event.root for event in diversions(readings.roots)}
    became = outcomes(readings.roots, LayerPlace(6.0, -5.0, 25.0), turned)
    assert became == {0: "crossed", 1: "turned", 2: "stopped"}


def test_a_trace_that_was_lost_and_goes_on_in_another_did_not_stop():
    roots = [trace(along((8, 1), (8, 5.9)), name="above"), trace(along((8.1, 6.3), (8.5, 12)), name="below")]
    assert outcomes(read(roots).roots, LayerPlace(6.0, 0.0, 20.0), set()) == {}


def test_roots_that_end_side_by_side_at_a_layer_were_held_by_it():
    """Their ends are near one another, but none of them leads on; a level piece beside the third does."""
    roots = [trace(along((x, 1), (8 + x / 10, 5.9)), name=f"r{x}") for x in (0, 8, 14)]
    assert outcomes(read(roots).roots, LayerPlace(6.0, 0.0, 20.0), set()) == dict.fromkeys(
        range(3), "stopped"
    )
    on = trace(along((9.9, 6.0), (13, 6.0)), name="level")
    assert outcomes(read([*roots, on]).roots, LayerPlace(6.0, 0.0, 20.0), {3})[0] == "stopped"
    assert 2 not in outcomes(read([*roots, on]).roots, LayerPlace(6.0, 0.0, 20.0), {3})


def test_a_root_that_dropped_through_a_crack_and_ran_again_was_turned_twice():
    root = trace(along((0, 1), (3, 5), (6, 5), (6.5, 11), (10, 11)), name="r")
    events = diversions(read([root]).roots)
    assert [event.depth_in for event in events] == pytest.approx([5, 11], abs=0.1)
    assert all(event.turned and event.sideways_in > 2 for event in events)

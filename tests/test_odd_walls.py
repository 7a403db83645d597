"""Walls as small, as bare or as even as can be: their figures keep their bounds, or there are none."""

from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest
from drawn_roots import SURFACE, wall_of
from handmade_roots import along, plane, trace
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from report_walls import wall

from rootread.export import overlay_svg, rsml
from rootread.fieldsheet import SheetRow
from rootread.follow import Trace, build_graph, follow_roots
from rootread.judge import find_layers, grade_wall, judge_wall
from rootread.measure import measure_wall
from rootread.report import rows_of, table_csv
from rootread.settings import FollowSettings, JudgeSettings, MeasureSettings

QUICK = JudgeSettings(permutations=19, bootstrap=20)
HALF_PX = 0.5
NO_MORE = 1e-9
SHANKS = SheetRow("wall.jpg", "wall", shanks_at_in=(0.0, 20.0))


def read(roots):
    return measure_wall(roots, plane(), MeasureSettings())


def judged(roots, row=None):
    readings = read(roots)
    layers = find_layers(readings, (), QUICK)
    return judge_wall(readings, layers, grade_wall(readings, layers, row, QUICK), row, QUICK, plane())


# strips and pictures that are all root


@pytest.mark.parametrize("shape", [(400, 1), (1, 400), (400, 2), (1, 40), (40, 1), (400, 8), (1, 1), (3, 3)])
@pytest.mark.parametrize("cover", [1.0, 0.0])
def test_a_strip_that_is_all_root_or_all_soil_is_followed(shape, cover):
    """Nowhere in it is a pixel of the other kind to tell how wide the root is."""
    root_map, image = wall_of(np.full(shape, cover))
    traces = follow_roots(root_map, image, SURFACE, FollowSettings())
    far_end_in = (np.array(shape[::-1]) + HALF_PX) / image.grid.px_per_in
    assert not (traces and cover == 0.0)
    for one in traces:
        assert (one.points >= -HALF_PX / image.grid.px_per_in).all() and (one.points <= far_end_in).all()
        assert np.isfinite(one.width_in).all()


@pytest.mark.parametrize("shape", [(400, 8), (8, 400)])
def test_a_root_is_no_wider_than_a_picture_that_it_fills(shape):
    root_map, image = wall_of(np.ones(shape))
    assert max(edge.width_px.max() for edge in build_graph(root_map, image).edges) <= 8


# walls of an inch


def test_a_wall_of_one_inch_has_no_layer_and_no_depth_curve():
    """So shallow that the blur over depths is longer than the wall is deep."""
    roots = [trace(along((x / 20, 0.05), (x / 20, 0.75)), name=f"r{x}") for x in range(20)]
    assert find_layers(read(roots), (), QUICK) == ()
    assert judged(roots).depth_fit is None


def test_the_ends_of_roots_in_a_wall_less_deep_than_the_blur_are_no_layer():
    """A slope: roots come down five inches beside the surface and end within an inch of its mean level."""
    roots = [trace(along((x, -4.3), (x, 0.7)), name=f"r{x}", width_in=0.2) for x in range(6)]
    assert find_layers(read(roots), (), QUICK) == ()


def test_roots_all_above_the_mean_level_of_a_sloping_surface_show_no_layer():
    roots = [trace(along((x, -8.0), (x, -3.0)), name=f"r{x}", width_in=0.2) for x in range(6)]
    assert find_layers(read(roots), (), QUICK) == ()
    judgement = judged(roots)
    assert judgement.depth_fit is None and judgement.abundance == ()


# one root, level roots


def test_one_plumb_root_has_no_width_of_wall_over_which_to_count_it():
    judgement = judged([trace(along((4.0, 1.0), (4.0, 9.0)))])
    assert judgement.abundance == ()
    assert all(np.isnan(strip.density) for strip in judgement.strips)


@pytest.mark.parametrize("row", [None, SHANKS])
def test_level_roots_at_the_surface_have_no_density_by_strips(row):
    """They reach no depth, so there is no area of wall over which they are spread."""
    roots = [trace(along((x, 0.0), (x + 6.0, 0.0)), name=f"r{x}") for x in range(0, 24, 6)]
    assert all(np.isnan(strip.density) for strip in judged(roots, row).strips)


def test_a_root_that_turns_back_on_itself_has_waves():
    judgement = judged([trace(along((0.0, 1.0), (0.0, 21.0), (0.0, 1.0)))])
    assert np.isfinite(judgement.waviness.amplitude_in) or np.isnan(judgement.waviness.wavelength_in)


# marks on what was bridged


def test_a_bridged_root_that_a_person_marks_flattened_is_flattened_once():
    """No more of a wall is flattened than there is of it."""
    line = along((0.0, 1.0), (6.0, 7.0))
    unseen = np.arange(len(line)) > 20
    root = replace(trace(line, inferred=unseen), squeezed=np.ones(len(line), dtype=bool))
    readings = read([root])
    assert readings.flattened_share == pytest.approx(1.0)
    assert readings.intervals.flattened_share.high <= 1.0
    grade = grade_wall(readings, (), None, QUICK)
    assert "100 % of the root length looks flattened" in grade.parts[3].reason


# any handful of roots


@st.composite
def odd_roots(draw) -> Trace:
    """A root of a few straight stretches of any heading, at any place, seen or not, sure or not."""
    x, z = draw(st.sampled_from([0.0, 5.0, 29.0])), draw(st.sampled_from([-3.0, 0.0, 0.5, 6.0]))
    corners = [(x, z)]
    lengths_in = draw(st.lists(st.sampled_from([0.1, 0.3, 1.0, 4.0, 15.0]), min_size=1, max_size=4))
    for length_in in lengths_in:
        heading = np.radians(draw(st.sampled_from([0, 30, 90, 180, 270])))
        x, z = x + length_in * np.cos(heading), z + length_in * np.sin(heading)
        corners.append((x, z))
    points = along(*corners)
    seen = draw(st.sampled_from(["all", "none", "every other point"]))
    unseen = np.arange(len(points)) % 2 < {"all": 0, "none": 2, "every other point": 1}[seen]
    root = trace(
        points,
        width_in=draw(st.sampled_from([0.01, 0.05, 0.12, 1.0])),
        confidence=draw(st.sampled_from([0.0, 0.4, 1.0])),
        cut=draw(st.booleans()),
        inferred=unseen,
    )
    return replace(root, squeezed=unseen) if draw(st.booleans()) else root


@settings(max_examples=120, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(odd_roots(), max_size=12), st.sampled_from([None, SHANKS]))
def test_any_handful_of_roots_is_a_wall_whose_figures_keep_their_bounds(roots, row):
    named = [replace(root, id=f"r{k}") for k, root in enumerate(roots)]
    readings = read(named)
    layers = find_layers(readings, (), QUICK)
    grade = grade_wall(readings, layers, row, QUICK)
    judgement = judge_wall(readings, layers, grade, row, QUICK, plane())
    shares = (
        readings.intervals.shallow_share,
        readings.intervals.in_pattern_share,
        readings.intervals.steep_share,
        readings.intervals.flattened_share,
    )
    for share in shares:
        assert np.isnan(share.value) or 0 <= share.low <= share.value + NO_MORE <= 1 + 2 * NO_MORE
    assert not readings.roots or 0 <= grade.score.low <= grade.score.value <= grade.score.high <= 100
    assert ((judgement.passage.share >= 0) & (judgement.passage.share <= 1)).all()
    assert all(layer.reached >= layer.crossed + layer.turned + layer.stopped for layer in layers)


@settings(max_examples=25, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(odd_roots(), max_size=6))
def test_any_handful_of_roots_is_exported_and_has_its_tables(roots):
    made = wall([replace(root, id=f"r{k}") for k, root in enumerate(roots)], "odd")
    assert all(table_csv(name, rows) for name, rows in rows_of(made).items())
    for written in (rsml(made), overlay_svg(made)):
        ElementTree.fromstring(written)

"""What is said of a wall beyond layers and grade: passage curve, strips, advice."""

import re
from dataclasses import replace

import numpy as np
import pytest
from handmade_roots import along, plane, trace
from scipy.stats import CensoredData, binomtest, ecdf

from rootread.fieldsheet import RecordedLayer, SheetRow
from rootread.judge import find_layers, grade_wall, judge_wall
from rootread.judge.slots import guessed_slots
from rootread.judge.types import Layer
from rootread.measure import measure_wall
from rootread.settings import JudgeSettings, MeasureSettings
from rootread.units import lengths_shown_in

SETTINGS = JudgeSettings(permutations=199, bootstrap=50)
ROW = SheetRow("wall.jpg", "wall", shanks_at_in=(-12.0, 12.0), shank_spacing_in=24.0)
ACROSS = np.arange(-18.0, 18.0, 2.0)


def free(x, name):
    return trace(along((x, 1.0), (x + (4.0 if x < 0 else -4.0), 14.0)), name=name)


def turned(x, name, at_z=6.0):
    return trace(along((x, 1.0), (x + 1.5, at_z), (x + 6.0, at_z + 0.1)), name=name)


def judged(roots, row=ROW, deepest_in=None):
    readings = measure_wall(roots, plane(), MeasureSettings())
    layers = find_layers(readings, row.layers if row else (), SETTINGS)
    grade = grade_wall(readings, layers, row, SETTINGS)
    return judge_wall(readings, layers, grade, row, SETTINGS, deepest_in=deepest_in)


OPEN = [free(x, f"f{i}") for i, x in enumerate(ACROSS)]
BLOCKED = [turned(x, f"t{i}") for i, x in enumerate(ACROSS[:14])] + [free(x, f"f{x:g}") for x in ACROSS[14:]]


@pytest.mark.parametrize(("crossed", "reached"), [(0, 8), (3, 12), (20, 20)])
def test_the_passage_of_a_layer_has_wilson_s_interval(crossed, reached):
    layer = Layer(6.0, 0.1, -10, 10, reached, crossed, reached - crossed, 0, 20.0, 0.001, None)
    expected = binomtest(crossed, reached).proportion_ci(method="wilson")
    assert layer.passage_interval.low == pytest.approx(expected.low, abs=1e-6)
    assert layer.passage_interval.high == pytest.approx(expected.high, abs=1e-6)


def test_a_layer_nothing_reached_says_nothing_of_passage():
    layer = Layer(6.0, 0.1, -10, 10, 0, 0, 0, 0, 0.0, 0.001, None)
    assert (layer.passage_interval.low, layer.passage_interval.high) == (0.0, 1.0)


def test_the_passage_curve_has_scipy_s_greenwood_interval():
    curve = judged(BLOCKED).passage
    at = int(np.searchsorted(curve.depth_in, 8.0))
    reference = ecdf(CensoredData(uncensored=np.full(14, 6.0), right=np.full(4, 14.0))).sf
    interval = reference.confidence_interval(0.95, method="log-log")
    assert curve.share[at] == pytest.approx(float(reference.evaluate(8.0)), abs=1e-6)
    assert curve.low[at] == pytest.approx(float(interval.low.evaluate(8.0)), abs=0.02)
    assert curve.high[at] == pytest.approx(float(interval.high.evaluate(8.0)), abs=0.02)
    assert (np.diff(curve.share) <= 0).all()


def test_passage_stays_whole_on_an_open_wall():
    assert judged(OPEN).passage.share.min() == 1.0


def test_strips_share_out_the_wall():
    slot, berm = judged(OPEN).strips
    assert (slot.name, berm.name) == ("slot", "berm")
    assert not slot.guessed
    assert np.array(slot.reaches_in) == pytest.approx(np.array([(-18.0, -6.0), (6.0, 16.0)]))
    assert np.array(berm.reaches_in) == pytest.approx(np.array([(-6.0, 6.0)]))
    total = sum(np.hypot(*(root.points[-1] - root.points[0])) for root in OPEN)
    assert slot.root_length_in + berm.root_length_in == pytest.approx(total, rel=0.01)
    assert slot.passage == berm.passage == 1.0


def test_without_shanks_the_slot_is_guessed_where_roots_crossed():
    roots = [free(x, f"f{x:g}") if x > 0 else turned(x, f"t{x:g}") for x in ACROSS]
    slot, berm = judged(roots, row=None).strips
    assert (slot.name, berm.name) == ("slot", "berm") and slot.guessed
    assert berm.passage < 0.2 and slot.passage > 0.8
    assert berm.descent_deg < slot.descent_deg


def test_a_slot_between_two_berms_is_guessed_at_its_place():
    roots = [
        turned(x, f"t{x:g}") if abs(x) > 5 else trace(along((x, 1.0), (x, 14.0)), name=f"f{x:g}")
        for x in np.arange(-18.0, 18.0, 1.0)
    ]
    readings = measure_wall(roots, plane(), MeasureSettings())
    (slot,) = guessed_slots(readings, find_layers(readings, (), SETTINGS))
    assert slot == pytest.approx((-5.0, 5.0), abs=2.5)
    guessed = judged(roots, row=None).strips[0]
    assert guessed.guessed and guessed.reaches_in == (pytest.approx(slot),)


def test_where_roots_do_alike_all_along_the_wall_thirds_stand_in_for_strips():
    mixed = [free(x, f"f{x:g}") if i % 2 else turned(x, f"t{x:g}") for i, x in enumerate(ACROSS)]
    assert [strip.name for strip in judged(mixed, row=None).strips] == [
        "left third",
        "middle third",
        "right third",
    ]


def test_a_strip_of_one_root_is_taken_to_pass_as_the_rest_of_the_wall_does():
    """All roots turn, those of the middle third too, which holds one."""
    roots = [turned(x, f"t{x:g}") for x in (-18.0, -17.0, -16.0, -15.0, 0.0, 15.0, 16.0, 17.0, 18.0)]
    judgement = judged(roots, row=None)
    assert [strip.name for strip in judgement.strips] == ["left third", "middle third", "right third"]
    down_the_wall = judgement.passage.share[-1]
    assert all(strip.passage < down_the_wall + 0.1 for strip in judgement.strips)


def test_roots_above_in_and_below_the_layer_are_told_apart():
    above, within, below = judged(BLOCKED).around_layers
    assert above.descent_deg > 60 > within.descent_deg
    assert within.from_in < 6.0 < within.to_in
    assert below.to_in > 14.0 - 0.1


def test_a_horizon_is_never_assumed():
    """Common practice: the A horizon ends at depths that differ twofold between districts and more."""
    unwritten = judged(BLOCKED, replace(ROW, layers=(RecordedLayer("disk", 7.0),))).abundance
    assert {(one.from_in, one.to_in) for one in unwritten} == {(0.0, 6.0), (6.0, 12.0), (12.0, 18.0)}
    written = judged(BLOCKED, replace(ROW, layers=(RecordedLayer("A/B", 9.0),))).abundance
    assert {one.from_in for one in written} == {0.0, 9.0}


# advice


def kinds(judgement):
    return [advice.kind for advice in judgement.advice]


def test_a_layer_under_an_untilled_wall_is_to_be_run_an_inch_below():
    """Common practice, no source: about 1 in below the layer, no deeper, and only in soil dry enough."""
    (advice,) = judged(BLOCKED).advice
    assert advice.kind == "run deeper"
    assert "about 7 in" in advice.text and "no deeper" in advice.text and "dry" in advice.text
    assert "14 of" in advice.evidence


def test_a_layer_at_the_depth_of_the_tool_is_laid_to_the_tool():
    advice = judged(BLOCKED, replace(ROW, tool_depth_in=6.0)).advice[0]
    assert "tool itself" in advice.text


def test_where_the_points_ran_below_the_layer_already_deeper_is_not_advised():
    advice = judged(BLOCKED, replace(ROW, tool_depth_in=12.0)).advice[0]
    assert advice.kind == "leave" and "moisture" in advice.text


def test_no_advice_rests_on_a_depth_that_no_tool_runs_at():
    # Bare centimetres or a slip of the pen: the report asks about it.
    told = judged(BLOCKED, replace(ROW, tool_depth_in=355.0)).advice
    assert told == judged(BLOCKED, replace(ROW, tool_depth_in=None)).advice


@pytest.mark.parametrize("pit_depth_in", [None, 28.0])
def test_no_advice_rests_on_a_tool_below_the_wall_or_its_pit(pit_depth_in):
    """As 36 cm written without their unit, on a wall 28 in deep: the shanks' spacing goes by it too."""
    written = replace(ROW, tool_depth_in=36.0, pit_depth_in=pit_depth_in)
    deepest_in = 28.0 if pit_depth_in is None else None
    told = judged(BLOCKED, written, deepest_in).advice
    assert told == judged(BLOCKED, replace(written, tool_depth_in=None), deepest_in).advice
    believed = judged(BLOCKED, replace(written, tool_depth_in=12.0), deepest_in).advice[0]
    assert "although the pass ran at 12 in" in believed.text


def test_a_layer_deeper_than_points_go_is_left_alone():
    deep = [turned(x, f"t{i}", at_z=22.0) for i, x in enumerate(ACROSS)]
    advice = judged(deep).advice[0]
    assert advice.kind == "leave" and "deeper than points are run" in advice.text


def test_under_a_sloping_layer_points_run_below_its_deepest_place():
    roots = [turned(x, f"t{i}", at_z=5.0 + 0.1 * (x + 18.0)) for i, x in enumerate(ACROSS)]
    roots += [free(x, f"f{x:g}") for x in (-11.0, -1.0, 11.0)]
    advice = judged(roots).advice[0]
    assert "5 in to 8" in advice.text and "its deepest place" in advice.text and "about 9" in advice.text


def test_an_open_wall_gives_no_reason_to_run_deeper():
    (advice,) = judged(OPEN).advice
    assert advice.kind == "leave" and "no reason" in advice.text


def test_too_few_roots_call_for_another_look():
    (advice,) = judged(OPEN[:4]).advice
    assert advice.kind == "look again"
    assert kinds(judged([])) == ["look again"]


def test_wide_shanks_over_held_berms_call_for_closer_ones():
    """Spoor and Godwin 1978 (from memory): plain tines loosen all the soil up to 1.5 working depths apart."""
    slot = np.abs(np.abs(ACROSS) - 12.0) <= 4.0
    roots = [
        free(x, f"f{i}") if s else turned(x, f"t{i}")
        for i, (x, s) in enumerate(zip(ACROSS, slot, strict=True))
    ]
    wide = judged(roots, replace(ROW, tool_depth_in=12.0))
    assert "closer shanks" in kinds(wide)
    close = judged(roots, replace(ROW, tool_depth_in=12.0, shank_spacing_in=16.0))
    assert "closer shanks" not in kinds(close)


def test_a_layer_just_above_the_tool_is_laid_to_the_tool_and_not_to_moisture():
    roots = [turned(x, f"t{i}", at_z=6.0) for i, x in enumerate(ACROSS[:14])] + BLOCKED[14:]
    (advice, *_) = judged(roots, replace(ROW, tool_depth_in=6.9)).advice
    assert "It lies where the last pass ran" in advice.text


@pytest.mark.parametrize("at_z", [4.7, 4.8, 4.9, 5.7])
def test_in_centimetres_what_is_said_of_the_layer_and_the_points_adds_up(at_z):
    roots = [turned(x, f"t{i}", at_z=at_z) for i, x in enumerate(ACROSS[:14])] + BLOCKED[14:]
    with lengths_shown_in("cm"):
        (advice, *_) = judged(roots).advice
    layer, points = re.search(
        r"A layer at ([\d.]+) cm .* run points at about ([\d.]+) cm", advice.text
    ).groups()
    assert float(points) - float(layer) == 2.5

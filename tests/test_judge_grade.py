"""The grade: bounded, ordered as the soil, even across strips, and never raised by a worse root."""

import tracemalloc
from dataclasses import replace

import numpy as np
import pytest
from calibrate import usual_spread
from handmade_roots import along, plane, trace
from hypothesis import given, settings
from hypothesis import strategies as st

from rootread.fieldsheet import SheetRow
from rootread.judge import find_layers, grade_wall
from rootread.judge.curve import passage_curve
from rootread.judge.grade import DRAWS_AT_ONCE
from rootread.judge.types import Layer
from rootread.judge.verdict import verdict_words
from rootread.measure import Interval, SidewaysRun, Turn, measure_wall
from rootread.settings import JudgeSettings, MeasureSettings

SETTINGS = JudgeSettings(permutations=199, bootstrap=100)
SHANKS = SheetRow("wall.jpg", "wall", shanks_at_in=(-12.0, 12.0), shank_spacing_in=24.0)
NO_RISE = 1e-9


def read(roots, **kwargs):
    return measure_wall(roots, plane(**kwargs), MeasureSettings())


def free(x, name, to_z=14.0):
    lean = 4.0 if x < 0 else -4.0
    return trace(along((x, 1.0), (x + lean, to_z)), name=name)


def turned(x, name, at_z=6.0):
    return trace(along((x, 1.0), (x + 1.5, at_z), (x + 6.0, at_z + 0.1)), name=name)


def wall_of(free_x, turned_x):
    roots = [free(x, f"f{x:g}") for x in free_x] + [turned(x, f"t{x:g}") for x in turned_x]
    return read(roots)


def grade_of(readings, row=SHANKS):
    return grade_wall(readings, find_layers(readings, (), SETTINGS), row, SETTINGS)


ACROSS = np.arange(-18.0, 18.0, 2.0)


def test_a_wall_where_all_roots_went_down_is_open():
    grade = grade_of(wall_of(ACROSS, []))
    assert grade.verdict == "open"
    assert grade.score.value == pytest.approx(100, abs=1)


def test_a_wall_where_all_roots_were_turned_is_not_open():
    grade = grade_of(wall_of([], ACROSS))
    assert grade.score.high < 60
    assert "open" not in grade.verdict and "slowed" not in grade.verdict


def test_grades_fall_as_more_roots_are_turned():
    scores = [grade_of(wall_of(ACROSS[k:], ACROSS[:k])).score.value for k in (0, 4, 9, 13, 18)]
    assert scores == sorted(scores, reverse=True)
    assert scores[0] - scores[-1] > 40


def test_the_parts_make_up_the_grade():
    grade = grade_of(wall_of(ACROSS[::2], ACROSS[1::2]))
    assert sum(part.weight for part in grade.parts) == pytest.approx(1)
    assert sum(part.weight * part.score for part in grade.parts) == pytest.approx(grade.score.value)
    assert all(0 <= part.score <= 100 and part.reason.endswith(".") for part in grade.parts)
    assert grade.score.low <= grade.score.value <= grade.score.high
    # Level and steep roots can have the mean of free ones, and are graded below them all the same.
    assert grade.parts[0].score < 100 and "do not make up for level ones" in grade.parts[0].reason


def part(grade, name):
    return next(part.score for part in grade.parts if part.name == name)


def test_passage_counts_roots_of_a_hundred():
    grade = grade_of(wall_of(ACROSS[::2], ACROSS[1::2]))
    assert part(grade, "passage") == pytest.approx(50, abs=8)


def test_the_passage_of_the_grade_is_where_the_curve_of_passage_ends():
    roots = [free(x, f"f{x:g}") for x in ACROSS[::2]]
    roots += [replace(turned(x, f"t{x:g}"), confidence=0.3 + 0.02 * k) for k, x in enumerate(ACROSS[1::2])]
    readings = read(roots)
    layers = find_layers(readings, (), SETTINGS)
    grade = grade_wall(readings, layers, SHANKS, SETTINGS)
    assert part(grade, "passage") == pytest.approx(100 * passage_curve(readings, layers).share[-1])


def test_memory_for_the_interval_does_not_grow_with_the_number_of_draws():
    readings = wall_of(ACROSS, ACROSS)

    def most_memory_mb(draws):
        tracemalloc.start()
        graded = grade_wall(readings, (), SHANKS, replace(SETTINGS, bootstrap=draws))
        most = tracemalloc.get_traced_memory()[1] / 1e6
        tracemalloc.stop()
        return most, graded.score

    (least, few), (most, many) = most_memory_mb(DRAWS_AT_ONCE), most_memory_mb(8 * DRAWS_AT_ONCE)
    assert most < 1.5 * least
    assert (many.low, many.high) == pytest.approx((few.low, few.high), abs=1.0)


def test_roots_turned_in_the_berms_only_make_a_wall_uneven():
    slot = np.abs(np.abs(ACROSS) - 12.0) <= 4.0
    uneven = grade_of(wall_of(ACROSS[slot], ACROSS[~slot]))
    mixed = grade_of(wall_of(ACROSS[::2], ACROSS[1::2]))
    assert part(uneven, "evenness") < part(mixed, "evenness") - 20
    assert "slot" in uneven.parts[-1].reason and "berm" in uneven.parts[-1].reason


def test_without_shanks_the_strips_are_said_to_be_a_stand_in():
    grade = grade_of(wall_of(ACROSS, []), row=None)
    assert "thirds" in grade.parts[-1].reason


@pytest.mark.parametrize("away_in", [-90.0, 90.0, -23.5])  # the last with a foot of root in its slot
def test_shanks_that_ran_elsewhere_leave_the_grade_as_if_none_were_known(away_in):
    uneven = wall_of(ACROSS[ACROSS < 0], ACROSS[ACROSS >= 0])
    elsewhere = grade_of(uneven, replace(SHANKS, shanks_at_in=(away_in,)))
    assert elsewhere == grade_of(uneven, row=None)
    assert part(elsewhere, "evenness") < 100


def test_a_shank_written_twice_ran_once():
    wall = wall_of(ACROSS[::2], ACROSS[1::2])
    once, twice = (
        replace(SHANKS, shanks_at_in=at, shank_spacing_in=None) for at in ((-12, 12), (-12, 12, 12))
    )
    assert grade_of(wall, once) == grade_of(wall, twice)


def test_steeper_than_the_pattern_costs_nothing():
    plumb = [trace(along((x, 1), (x, 14)), name=f"p{x:g}") for x in ACROSS]
    slant = [trace(along((x, 1), (x + 13, 14)), name=f"s{x:g}") for x in ACROSS]
    assert part(grade_of(read(plumb)), "descent") == part(grade_of(read(slant)), "descent") == 100


def test_shallow_roots_cost_descent():
    shallow = [trace(along((x, 1), (x + 12, 4)), name=f"s{x:g}") for x in ACROSS]  # 14 degrees
    assert part(grade_of(read(shallow)), "descent") < 40


def test_doubtful_traces_count_less():
    sure = [free(x, f"f{x:g}") for x in ACROSS[:12]]
    bad = [turned(x, f"t{x:g}") for x in ACROSS[12:]]
    doubted = [replace(root, confidence=0.2) for root in bad]
    assert grade_of(read(sure + doubted)).score.value > grade_of(read(sure + bad)).score.value + 2


def test_the_thicker_a_root_looks_the_more_it_counts():
    """No one width parts roots that count from others: what is read a little thinner counts a little less."""
    thick = [free(x, f"f{x:g}") for x in ACROSS[:12]]

    def passage_where_the_others_turned(width_in):
        others = [trace(turned(x, "t").points, width_in, f"t{x:g}") for x in ACROSS[12:]]
        return part(grade_of(read(thick + others)), "passage")

    passed = [passage_where_the_others_turned(width_in) for width_in in (0.02, 0.035, 0.045, 0.055, 0.10)]
    assert passed[0] == pytest.approx(100, abs=1)
    assert passed == sorted(passed, reverse=True) and len({round(share) for share in passed}) == 5


def test_an_unsure_level_widens_the_interval():
    roots = [
        trace(along((x, 1), (x + 12, 5)), name=f"s{x:g}") for x in ACROSS
    ]  # 18 degrees, all to the right
    sure, unsure = grade_of(read(roots)), grade_of(read(roots, level_se_deg=3.0))
    assert unsure.score.high - unsure.score.low > sure.score.high - sure.score.low + 2


def test_alike_roots_make_a_grade_no_surer_than_their_number_allows():
    """That three roots turned alike may be chance; that eighteen did says how roots of this wall go."""
    three, eighteen = (grade_of(wall_of([], ACROSS[::step])).score for step in (6, 1))
    assert three.high - three.low > 1.5 * (eighteen.high - eighteen.low)
    one = grade_of(wall_of([], ACROSS[:1])).score
    assert one.high - one.low > three.high - three.low


def test_roots_of_a_usual_wall_tell_how_far_apart_a_few_may_lie():
    """Walls of eight to forty roots, as it is estimated on, drawn as the method (Smyth 2004) supposes."""
    rng = np.random.default_rng(3)
    usual_sd, known = 12.0, 4.0
    roots = rng.integers(8, 40, 4000).astype(float)
    wall_sd = usual_sd * np.sqrt(known / rng.chisquare(known, len(roots)))
    found_sd = wall_sd * np.sqrt(rng.chisquare(roots - 1) / (roots - 1))
    estimated = usual_spread(found_sd * np.sqrt((roots - 1) / roots / roots), roots)
    assert estimated == pytest.approx((usual_sd, known), rel=0.15)


def test_a_wall_without_roots_is_not_graded():
    grade = grade_of(read(()))
    assert np.isnan(grade.score.value) and grade.parts == () and grade.verdict == "no roots"


def test_the_grade_is_the_same_from_run_to_run():
    wall = wall_of(ACROSS[::2], ACROSS[1::2])
    assert grade_of(wall) == grade_of(wall)


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (85, 95, "open"),
        (75, 85, "open or slowed"),
        (58, 62, "slowed or turned"),
        (35, 65, "slowed or turned or stopped"),
        (10, 39.9, "stopped"),
        (40, 59.9, "turned"),
    ],
)
def test_the_verdict_is_as_sharp_as_the_interval(low, high, words):
    assert verdict_words(Interval((low + high) / 2, low, high), SETTINGS) == words


# making any one root worse never raises the grade


@st.composite
def walls_with_a_worse_twin(draw):
    """A wall of free and turned roots, and the same wall with one root made worse in some way."""
    kinds = draw(st.lists(st.sampled_from("ft"), min_size=6, max_size=14))
    places = np.linspace(-18, 14, len(kinds))
    roots = [
        replace(
            free(x, f"r{i}", draw(st.floats(5, 16))) if k == "f" else turned(x, f"r{i}"),
            confidence=draw(st.sampled_from([0.1, 0.6, 1.0])),
        )
        for i, (k, x) in enumerate(zip(kinds, places, strict=True))
    ]
    readings = read(roots)
    index = draw(st.integers(0, len(kinds) - 1))
    root = readings.roots[index]
    count = len(root.descent_at_deg)
    start = draw(st.integers(0, count - 2))
    stretch = (np.arange(count) >= start) & (np.arange(count) < start + draw(st.integers(5, count)))
    way = draw(st.sampled_from(["shallower", "flatter", "turned", "ran"]))
    if way == "shallower":
        worse = replace(root, descent_at_deg=root.descent_at_deg - stretch * draw(st.floats(1, 90)))
    elif way == "flatter":
        flat = root.flattened | stretch
        worse = replace(root, flattened=flat, flattened_share=float(flat.mean()))
    elif way == "ran":
        x, z = root.trace.points[stretch].mean(axis=0)
        run = SidewaysRun(root.trace.id, float(z), float(x), float(x) + 2.0, 2.0)
        # A run beside another is part of the same turn, whose place it would move.
        apart = all(abs(other.depth_in - z) > 2.5 for other in root.runs)
        worse = replace(root, runs=(*root.runs, run)) if apart else root
    elif root.turns:
        worse = root
    else:
        x, z = root.trace.points[start]
        worse = replace(root, turns=(Turn(root.trace.id, float(x), float(z), float(z)),))
    return readings, replace(readings, roots=(*readings.roots[:index], worse, *readings.roots[index + 1 :]))


@st.composite
def drawn_weights(draw):
    """Settings with any weights of the five parts, of which one at least is above 0."""
    some = draw(st.lists(st.sampled_from([0.0, 0.05, 0.2, 0.5, 1.0]), min_size=5, max_size=5).filter(any))
    names = ("descent", "passage", "straightness", "roundness", "evenness")
    return replace(SETTINGS, **{f"weight_{name}": w for name, w in zip(names, some, strict=True)})


@settings(max_examples=150, deadline=None)
@given(walls_with_a_worse_twin(), st.sampled_from([SHANKS, None]), st.just(SETTINGS) | drawn_weights())
def test_making_any_one_root_worse_never_raises_the_grade(walls, row, judge):
    before, after = walls
    layers = find_layers(before, (), JudgeSettings(permutations=19, bootstrap=2))
    few = replace(judge, bootstrap=2)
    assert (
        grade_wall(after, layers, row, few).score.value
        <= grade_wall(before, layers, row, few).score.value + NO_RISE
    )


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 17), st.floats(0.05, 0.5), st.floats(0.8, 4.0))
def test_a_root_made_wavy_never_raises_the_grade(index, amplitude_in, wavelength_in):
    roots = [free(x, f"r{i}") for i, x in enumerate(ACROSS)]
    points = roots[index].points
    wave = amplitude_in * np.sin(2 * np.pi * np.arange(len(points)) * 0.05 / wavelength_in)
    wavy = replace(roots[index], points=points + np.column_stack([wave, np.zeros(len(points))]))
    few = replace(SETTINGS, bootstrap=2)
    before = grade_wall(read(roots), (), SHANKS, few).score.value
    after = grade_wall(read([*roots[:index], wavy, *roots[index + 1 :]]), (), SHANKS, few).score.value
    assert after <= before + NO_RISE


@settings(max_examples=60, deadline=None)
@given(st.sets(st.integers(0, 17), max_size=12), st.integers(0, 17), st.sampled_from([SHANKS, None]))
def test_a_free_root_that_stops_at_the_layer_instead_never_raises_the_grade(held, index, row):
    """The layer turned some roots and a straight one that passed it now ends on it."""
    held = held - {index}
    others = [
        turned(x, f"r{i}") if i in held else free(x, f"r{i}") for i, x in enumerate(ACROSS) if i != index
    ]
    x = ACROSS[index] + 1.0  # clear of the others' ends, where it would seem to go on
    whole, ended = ([*others, trace(along((x, 1.0), (x, z)), name="it")] for z in (14.0, 5.9))
    layer = (Layer(6.0, 0.1, -18.0, 18.0, 18, 18 - len(held), len(held), 0, 0.0, 0.01, None),)
    few = replace(SETTINGS, bootstrap=2)
    before, after = (grade_wall(read(roots), layer, row, few) for roots in (whole, ended))
    assert part(after, "passage") < part(before, "passage") - 1
    assert after.score.value <= before.score.value + NO_RISE

"""The chance that a half inch of root is squeezed flat, by what a photo shows of it."""

from dataclasses import replace

import numpy as np
import pytest

from rootread.follow.types import Trace
from rootread.measure.root import measure_root
from rootread.measure.squeezed import (
    FEWEST_PIECES,
    PIECE_IN,
    Seen,
    chance,
    looks_flattened,
    piece_features,
    piece_size,
)
from rootread.settings import MeasureSettings

SETTINGS = MeasureSettings()
COUNT = 280
"""Points of a root of 14 in, a point every 0.05 in."""
STRETCH = slice(120, 180)
"""3 in of it."""
ROUND_IN = 0.10
SLANTED_DEG, UPRIGHT_DEG = 33.0, 80.0
ROUND_FALLOFF, RIBBON_FALLOFF = 0.6, 0.1
"""Falloff of light as photos show it: blur takes some off a cylinder's, soil adds some to a ribbon's."""


def chances(
    ratio=1.0, falloff=ROUND_FALLOFF, descent_deg=SLANTED_DEG, settings=SETTINGS, scatter=0.1, taper=0.0
):
    """Of each half inch of a root that looks ``ratio`` times as wide over 3 in; its widths scatter."""
    rng = np.random.default_rng(5)
    log_width = np.log(ROUND_IN) + np.repeat(rng.normal(0, scatter, COUNT // 10), 10)
    log_width -= np.linspace(0, taper, COUNT)
    light, descent = np.full(COUNT, ROUND_FALLOFF), np.full(COUNT, SLANTED_DEG)
    log_width[STRETCH] += np.log(ratio)
    light[STRETCH], descent[STRETCH] = falloff, descent_deg
    clear = np.zeros(COUNT, bool)
    features, at = piece_features(Seen(np.exp(log_width), clear, descent, light), settings)
    assert at.tolist() == list(range(COUNT // piece_size(settings)))
    return chance(features)


INSIDE, ELSEWHERE = slice(13, 17), np.r_[2:10, 20:28]
"""Half inches well inside the stretch, and away from it."""


def test_a_root_that_only_tapers_is_not_flattened_anywhere():
    assert chances().max() < 0.1
    assert chances(taper=np.log(5)).max() < 0.1


def test_a_ribbon_is_likely_and_the_rest_of_its_root_is_not():
    found = chances(ratio=1.9, falloff=RIBBON_FALLOFF)
    assert found[INSIDE].min() > 0.6 and found[ELSEWHERE].max() < 0.1


def test_the_wider_it_stands_out_the_likelier_it_is():
    found = [chances(ratio=ratio)[INSIDE].mean() for ratio in (1.0, 1.3, 1.6, 1.9, 2.3)]
    assert np.all(np.diff(found) > 0)


def test_light_that_falls_off_less_makes_it_likelier_but_does_not_tell_it_alone():
    wide = [chances(ratio=1.7, falloff=light)[INSIDE].mean() for light in (ROUND_FALLOFF, RIBBON_FALLOFF)]
    assert wide[1] > 1.5 * wide[0]
    assert chances(falloff=RIBBON_FALLOFF).max() < 0.3


def test_a_wide_stretch_is_likelier_where_the_root_left_its_course_to_go_upright():
    """Cracks of drying soil stand upright, and roots flatten in those they find."""
    on_course, upright = (chances(ratio=1.7, descent_deg=deg)[INSIDE].mean() for deg in (33.0, UPRIGHT_DEG))
    assert upright > 1.3 * on_course
    # All of a root upright is its own course: a tap root is in no crack.
    plumb = np.full(COUNT, UPRIGHT_DEG)
    seen = Seen(np.full(COUNT, ROUND_IN), np.zeros(COUNT, bool), plumb, np.full(COUNT, ROUND_FALLOFF))
    features, _ = piece_features(seen, SETTINGS)
    assert features["upright_off_course"].max() == 0.0


def test_who_asks_for_a_higher_ratio_is_told_of_less():
    likely = [
        chances(ratio=1.9, settings=replace(SETTINGS, flattened_ratio=ratio))[INSIDE].mean()
        for ratio in (1.3, 1.5, 2.0)
    ]
    assert likely[0] > likely[1] > likely[2]


def test_what_was_bridged_or_touches_another_root_is_not_said_to_be_flattened():
    width = np.full(COUNT, ROUND_IN)
    width[STRETCH] *= 2.2
    unclear = np.zeros(COUNT, bool)
    unclear[STRETCH] = True
    seen = (np.full(COUNT, SLANTED_DEG), np.full(COUNT, ROUND_FALLOFF))
    assert not looks_flattened(Seen(width, unclear, *seen), SETTINGS).any()
    assert looks_flattened(Seen(width, np.zeros(COUNT, bool), *seen), SETTINGS)[STRETCH].mean() > 0.8


def test_of_a_stub_nothing_is_said():
    fewest = FEWEST_PIECES * piece_size(SETTINGS)
    for points, said in ((0, 0), (1, 0), (fewest - 1, 0), (fewest, FEWEST_PIECES)):
        few = np.full(points, ROUND_IN)
        seen = Seen(few, np.zeros(points, bool), few + 33, few)
        assert len(piece_features(seen, SETTINGS)[1]) == said
        assert looks_flattened(seen, SETTINGS).shape == (points,)


def ribbon(stretch, width_ratio=2.2):
    """What a photo shows of a root that is a ribbon over a stretch."""
    width, light = np.full(COUNT, ROUND_IN), np.full(COUNT, ROUND_FALLOFF)
    width[stretch] *= width_ratio
    light[stretch] = RIBBON_FALLOFF
    return Seen(width, np.zeros(COUNT, bool), np.full(COUNT, SLANTED_DEG), light)


@pytest.mark.parametrize("shortest_in", [0.05, 0.25, 0.5, 1.2, 3.0])
def test_the_shortest_stretch_asked_for_leaves_a_longer_one_as_it_is(shortest_in):
    seen = ribbon(STRETCH)
    found = looks_flattened(seen, replace(SETTINGS, flattened_min_length_in=shortest_in))
    assert np.array_equal(found, looks_flattened(seen, SETTINGS)) and found[STRETCH].mean() > 0.8


def test_a_stretch_shorter_than_asked_for_is_not_said():
    seen = ribbon(STRETCH)
    long_in = looks_flattened(seen, SETTINGS).sum() * SETTINGS.step_in
    asked = replace(SETTINGS, flattened_min_length_in=long_in + PIECE_IN / 2)
    assert not looks_flattened(seen, asked).any()


def test_a_root_reads_the_same_from_its_lower_end():
    """What lies near the upper end, and where it left its course downward, is told by depth, not by order."""
    x, down = np.full(COUNT, np.cos(np.radians(33.0))), np.full(COUNT, np.sin(np.radians(33.0)))
    down[100:120] = 1.0
    x[100:120] = 0.0
    points = SETTINGS.step_in * np.column_stack([np.cumsum(x), np.cumsum(down)])
    width, light = np.full(COUNT, ROUND_IN), np.full(COUNT, ROUND_FALLOFF)
    width[:20] *= 2.0
    width[100:120] *= 1.65
    light[100:120] = RIBBON_FALLOFF
    surface = np.array([[-50.0, 0.0], [50.0, 0.0]])

    def read(way):
        trace = Trace("r", 0, None, points[way], width[way], np.zeros(COUNT, bool), 1.0)
        return measure_root(trace, surface, SETTINGS, falloff=light[way]).flattened

    forth = read(slice(None))
    assert forth[100:120].all() and not forth[:20].any() and not forth[130:].any()
    assert np.array_equal(read(slice(None, None, -1))[::-1], forth)


def test_a_thick_round_root_of_another_crop_is_no_flatter_for_that():
    """No root of 2 in was among those that the chance was fitted on."""
    rng = np.random.default_rng(3)
    width = 2.0 * np.exp(np.repeat(rng.normal(0, 0.15, COUNT // 10), 10))
    clear = np.zeros(COUNT, bool)
    descent, light = np.full(COUNT, SLANTED_DEG), np.full(COUNT, ROUND_FALLOFF)
    assert looks_flattened(Seen(width, clear, descent, light), SETTINGS).mean() < 0.05

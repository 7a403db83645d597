"""The chance that a half inch of root is squeezed flat, by what a photo shows of it."""

from dataclasses import replace

import numpy as np
import pytest

from rootread.measure.squeezed import chance, looks_flattened, piece_features, piece_size
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


def chances(ratio=1.0, falloff=ROUND_FALLOFF, descent_deg=SLANTED_DEG, settings=SETTINGS, scatter=0.1):
    """Of each half inch of a root that looks ``ratio`` times as wide over 3 in; its widths scatter."""
    rng = np.random.default_rng(5)
    log_width = np.log(ROUND_IN) + np.repeat(rng.normal(0, scatter, COUNT // 10), 10)
    light, descent = np.full(COUNT, ROUND_FALLOFF), np.full(COUNT, SLANTED_DEG)
    log_width[STRETCH] += np.log(ratio)
    light[STRETCH], descent[STRETCH] = falloff, descent_deg
    clear = np.zeros(COUNT, bool)
    features, at = piece_features(np.exp(log_width), clear, descent, light, settings)
    assert at.tolist() == list(range(COUNT // piece_size(settings)))
    return chance(features)


INSIDE, ELSEWHERE = slice(13, 17), np.r_[2:10, 20:28]
"""Half inches well inside the stretch, and away from it."""


def test_a_root_that_only_tapers_is_not_flattened_anywhere():
    assert chances().max() < 0.1


def test_a_ribbon_is_likely_and_the_rest_of_its_root_is_not():
    found = chances(ratio=1.9, falloff=RIBBON_FALLOFF)
    assert found[INSIDE].min() > 0.6 and found[ELSEWHERE].max() < 0.1


@pytest.mark.parametrize("ratios", [(1.0, 1.3, 1.6, 1.9, 2.3)])
def test_the_wider_it_stands_out_the_likelier_it_is(ratios):
    found = [chances(ratio=ratio)[INSIDE].mean() for ratio in ratios]
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
    features, _ = piece_features(
        np.full(COUNT, ROUND_IN), np.zeros(COUNT, bool), plumb, np.full(COUNT, ROUND_FALLOFF), SETTINGS
    )
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
    assert not looks_flattened(width, unclear, *seen, SETTINGS).any()
    assert looks_flattened(width, ~np.ones(COUNT, bool), *seen, SETTINGS)[STRETCH].mean() > 0.8


def test_of_a_stub_nothing_is_said():
    few = np.full(35, ROUND_IN)
    assert not looks_flattened(few, np.zeros(35, bool), few + 33, few, SETTINGS).any()

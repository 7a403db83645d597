"""Nets of what looks like root are refused; walls full of roots are followed as ever."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from rootread.errors import WallRefused
from rootread.find import RootMap
from rootread.follow import Trace, eye, follow_roots, nets
from rootread.follow.eye import worth_a_look
from rootread.follow.joins import Joins
from rootread.follow.nets import refuse_facing_ends, refuse_many_chains, refuse_near_ends
from rootread.plane import Grid, Surface, WallImage
from rootread.settings import FollowSettings
from rootread.units import lengths_shown_in

PX_PER_IN = 72.0
SHAPE = (720, 860)
SURFACE = Surface(np.array([[-1.0, 0.0], [13.0, 0.0]]), 0.1, "photo")
REACH_IN = 3.0


def follow(picture: NDArray[np.uint8]) -> tuple[Trace, ...]:
    """Follow what is drawn white on black."""
    grid = Grid(PX_PER_IN, 0.0, 0.0, SHAPE)
    probability = picture.astype(np.float32) / 255
    image = WallImage(np.dstack([60 + picture // 2] * 3), np.ones(SHAPE, dtype=bool), grid)
    return follow_roots(RootMap(probability, probability > 0.5, grid), image, SURFACE, FollowSettings())


def netting(mesh_px: int) -> NDArray[np.uint8]:
    picture = np.zeros(SHAPE, dtype=np.uint8)
    picture[:, ::mesh_px] = picture[::mesh_px] = 255
    return cv2.dilate(picture, np.ones((5, 5), np.uint8))


def ends_px(count: int, wide_in: float, deep_in: float) -> NDArray[np.float64]:
    """Ends of ``count`` edges, anywhere on a wall of that size."""
    return np.random.default_rng(1).random((2 * count, 2)) * [wide_in * PX_PER_IN, deep_in * PX_PER_IN]


def test_netting_is_refused_and_wide_netting_is_followed() -> None:
    with pytest.raises(WallRefused, match=r"a net of [0-9]+ stretches") as refused:
        follow(netting(18))
    assert "outline" in refused.value.remedy
    assert follow(netting(90))


def test_a_skeleton_of_too_many_chains_is_refused_before_it_is_cleaned(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    chains = 30
    monkeypatch.setattr(nets, "MOST_CHAINS", chains)
    with pytest.raises(WallRefused, match="a net"):
        follow(netting(90))
    refuse_many_chains(chains)


def test_a_wide_wall_may_have_as_many_roots_an_inch_as_a_narrow_one() -> None:
    """The busiest of the sample and benchmark walls has 1,381 edges on 1,115 square inches."""
    refuse_near_ends(ends_px(1381, 40, 28), PX_PER_IN, REACH_IN)
    refuse_near_ends(ends_px(4 * 1381, 160, 28), PX_PER_IN, REACH_IN)
    with pytest.raises(WallRefused):
        refuse_near_ends(ends_px(6 * 1381, 40, 28), PX_PER_IN, REACH_IN)


def test_a_crowded_wall_of_300_roots_is_no_net() -> None:
    """Made ones have up to 3,451 stretches, most of them gathered below the crowns."""
    refuse_near_ends(ends_px(3451, 24, 16), PX_PER_IN, REACH_IN)


def test_ends_that_look_at_each_other_are_a_net_where_they_are_many_and_near() -> None:
    """However far the settings ask to look: a crowded wall has 196,000 such pairs within 3 in."""
    refuse_facing_ends(np.full(196_000, REACH_IN), 3451)
    refuse_facing_ends(np.full(400_000, 2 * REACH_IN), 3451)
    with pytest.raises(WallRefused, match="a net of 2259 stretches"):
        refuse_facing_ends(np.full(281_000, REACH_IN), 2259)


def test_thick_growth_on_a_small_wall_is_no_net() -> None:
    """A close look at a square foot may show four times as many roots an inch."""
    refuse_near_ends(ends_px(4 * 144, 12, 12), PX_PER_IN, REACH_IN)


def test_a_reach_too_far_for_the_wall_names_the_setting_and_the_unit() -> None:
    full = ends_px(1381, 40, 28)
    with lengths_shown_in("cm"), pytest.raises(WallRefused, match=r"ends up to 61\.0 cm apart") as refused:
        refuse_near_ends(full, PX_PER_IN, 24.0)
    assert "follow.max_gap_in" in refused.value.remedy
    refuse_near_ends(full, PX_PER_IN, 6.0)


def test_of_too_many_joins_each_end_still_has_its_cheapest_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    pair = np.array([[a, b] for a in range(20) for b in range(20, 40)], dtype=np.int64)
    cost = np.random.default_rng(2).random(len(pair))
    joins = Joins(pair, cost, np.zeros(len(pair)), ((),) * len(pair))
    usual = worth_a_look(joins)
    monkeypatch.setattr(eye, "MOST_LOOKS", len(usual))
    assert worth_a_look(joins).tolist() == usual.tolist()
    monkeypatch.setattr(eye, "MOST_LOOKS", len(usual) - 1)
    fewer = worth_a_look(joins)
    assert len(fewer) < len(usual)
    for end in range(40):
        own = np.flatnonzero((pair == end).any(axis=1))
        assert own[cost[own].argmin()] in fewer

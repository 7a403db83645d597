"""Passage against depth, beside SciPy's Kaplan-Meier estimate."""

import numpy as np
import pytest
from handmade_roots import along, plane, trace
from scipy.stats import CensoredData, ecdf

from rootread.judge.diversions import Diversion
from rootread.judge.survival import DEPTH_STEP_IN, passing_share, passing_shares_by_zone, risk_table
from rootread.measure import measure_wall
from rootread.settings import MeasureSettings


def plumb_roots(bottoms, tops=None):
    tops = np.ones(len(bottoms)) if tops is None else tops
    roots = [
        trace(along((2.0 * i, a), (2.0 * i, b)), name=f"r{i}")
        for i, (a, b) in enumerate(zip(tops, bottoms, strict=True))
    ]
    return measure_wall(roots, plane(), MeasureSettings()).roots


def turned_at(root, depth_in):
    return Diversion(root, depth_in, 0.0, 0.0, 0.0, 2.0, True)


def test_passage_is_the_product_limit_estimate_of_scipy():
    rng = np.random.default_rng(1)
    bottoms = np.round(rng.uniform(5, 20, 30), 0) + 0.5
    turned = np.arange(0, 30, 2)
    depths = np.round(bottoms[turned] - 0.5, 0)
    roots = plumb_roots(
        [d if i in turned else b for i, (b, d) in enumerate(zip(bottoms, np.repeat(depths, 2), strict=True))]
    )
    share = passing_share(
        risk_table(roots, [turned_at(i, d) for i, d in zip(turned, depths, strict=True)], []),
        np.ones((1, 30)),
    )[0]
    censored = np.delete(bottoms, turned)
    curve = ecdf(CensoredData(uncensored=depths, right=censored)).sf
    for depth_in in np.arange(5, 15, 1.0):  # below, fewer than four roots are left
        at = round((depth_in + 0.5) / DEPTH_STEP_IN)
        assert share[at] == pytest.approx(float(curve.evaluate(depth_in + 0.1)), abs=0.02)


def test_roots_held_by_one_layer_at_depths_that_differ_a_little_are_each_at_risk_until_held():
    """Ten held between 8.6 and 9.4 in, beside five that pass: 5 of 15, as SciPy says too."""
    depths = np.tile([8.6, 8.8, 9.0, 9.2, 9.4], 2)
    roots = plumb_roots([*depths, *np.full(5, 16.0)])
    table = risk_table(roots, [turned_at(i, d) for i, d in enumerate(depths)], [])
    share = passing_share(table, np.ones((1, 15)))[0]
    assert share[-1] == pytest.approx(5 / 15)
    curve = ecdf(CensoredData(uncensored=depths, right=np.full(5, 16.0))).sf
    for depth_in in depths:
        at = round(depth_in / DEPTH_STEP_IN)
        assert share[at] == pytest.approx(float(curve.evaluate(depth_in + 0.1)))


def test_all_pass_where_nothing_turned():
    assert passing_share(risk_table(plumb_roots([8.0, 12.0]), [], []), np.ones((1, 2))).min() == 1.0


def test_a_stop_at_a_layer_counts_as_held():
    table = risk_table(plumb_roots([6.0, 12, 12, 12, 12]), [], [(0, 6.0)])
    assert passing_share(table, np.ones((1, 5)))[0, -1] == pytest.approx(4 / 5)


def test_breaking_roots_in_two_leaves_the_passage_where_it_was():
    """Half are turned at 9; broken at 5 in, the lower pieces enter late and the upper leave early."""
    whole = plumb_roots([9.0] * 5 + [16.0] * 5)
    events = [turned_at(i, 9.0) for i in range(5)]
    broken = plumb_roots([5.0] * 10 + [9.0] * 5 + [16.0] * 5, tops=[1.0] * 10 + [5.2] * 10)
    below = [turned_at(10 + i, 9.0) for i in range(5)]
    share = passing_share(risk_table(whole, events, []), np.ones((1, 10)))[0, -1]
    assert share == pytest.approx(0.5)
    assert passing_share(risk_table(broken, below, []), np.ones((1, 20)))[0, -1] == pytest.approx(share)


def test_a_zone_with_few_roots_is_taken_to_be_like_the_wall():
    """Twenty roots, half of them held at 6 in; the zone has two, none of them held, and is counted with
    four roots of which two are: 4 of 6 pass. The other zone: (10 + 2) of (18 + 4) held."""
    table = risk_table(plumb_roots([12.0] * 20), [turned_at(i, 6.0) for i in range(10)], [])
    zone = np.zeros(table.x_in.shape, dtype=np.intp)
    zone[18:] = 1
    other, few = passing_shares_by_zone(table, zone, 2, np.ones((1, 20)))[0]
    assert few == pytest.approx(4 / 6)
    assert other == pytest.approx(1 - 12 / 22)


def test_one_root_left_in_the_deep_does_not_decide_the_wall():
    table = risk_table(plumb_roots([6.0] * 9 + [20.0]), [turned_at(9, 18.0)], [])
    assert passing_share(table, np.ones((1, 10)))[0, -1] == pytest.approx(0.75)

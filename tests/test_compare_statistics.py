import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats
from statsmodels.stats.anova import anova_lm
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.power import TTestIndPower, TTestPower

from rootread.compare.effect import (
    LEAST_APIECE,
    LEAST_PAIRS,
    holm,
    paired_effect,
    pits_needed,
    unpaired_effect,
)
from rootread.compare.randomise import f_ratio, randomisation_test
from rootread.compare.rootmodel import fit_roots
from rootread.compare.units import Block

EQUAL = 1e-9
CERTIFIED = 1e-11
"""Of a NIST F value; they give fifteen digits and float64 holds about as many."""
SAMPLED_P = 0.01
"""Two sampled p values of 9,999 deals each lie closer than this, near 0.1, 99.9 times in 100."""

# Heights of Darwin's maize, crossed less self-fertilised, in 1/8 in. Fisher 1935, The Design of
# Experiments, ch. III (from memory): 863 of 32768 sign patterns reach the total of 314.
MAIZE = (49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48)

# NIST Statistical Reference Datasets, one-way analysis of variance (from memory; both sets give the
# certified F exactly in rational arithmetic, so no digit of them is wrong).
SIRSTV = (
    (196.3052, 196.1240, 196.1890, 196.2569, 196.3403),
    (196.3042, 196.3825, 196.1669, 196.3257, 196.0422),
    (196.1303, 196.2005, 196.2889, 196.0343, 196.1811),
    (196.2795, 196.1748, 196.1494, 196.1485, 195.9885),
    (196.2119, 196.1051, 196.1850, 196.0052, 196.2090),
)
SIRSTV_F = 1.18046237440255
# The atomic weight of silver less 107.868, in units of 1e-7.
ATMWTAG = (
    np.array(
        [
            [1568, 1465, 1572, 1785, 1446, 1903, 1526, 1494, 1616, 1587, 1519, 1486],
            [1419, 1569, 1508, 1672, 1385, 1518, 1662, 1424, 1360, 1333, 1610, 1477],
        ]
    ).ravel(),
    np.array(
        [
            [1079, 1344, 1513, 1197, 1604, 1385, 1642, 1365, 1151, 1082, 1517, 1448],
            [1198, 1482, 1334, 1609, 1101, 1512, 1469, 1360, 1254, 1261, 1450, 1368],
        ]
    ).ravel(),
)
ATMWTAG_F = 15.9467335677930


def side_by_side(first, second):
    return [Block(("a", "b"), (x, y)) for x, y in zip(first, second, strict=True)]


def all_together(*groups):
    names = tuple(name for name, group in zip("abcde", groups, strict=False) for _ in group)
    return [Block(names, tuple(value for group in groups for value in group))]


def rng():
    return np.random.default_rng(7)


def test_darwins_maize_gives_fishers_p():
    outcome = randomisation_test(side_by_side(MAIZE, np.zeros(15)), rng())
    assert outcome.exact and outcome.deals == 2**15
    assert outcome.p_value == 1726 / 32768


def test_pairs_and_pits_apart_give_the_p_of_scipys_permutation_test():
    first, second = rng().normal(2, 3, 7), rng().normal(0, 2, 7)[::-1]
    # SciPy doubles the smaller tail for "two-sided"; with unequal numbers the absolute difference differs.
    apart = stats.permutation_test(
        (first, second[:6]),
        lambda x, y, axis: np.abs(x.mean(axis) - y.mean(axis)),
        alternative="greater",
        vectorized=True,
        n_resamples=np.inf,
    )
    ours = randomisation_test(all_together(first, second[:6]), rng())
    assert ours.exact
    assert ours.p_value == pytest.approx(apart.pvalue, abs=EQUAL)
    pairs = stats.permutation_test(
        (first, second),
        lambda x, y, axis: (x - y).mean(axis),
        permutation_type="samples",
        vectorized=True,
        n_resamples=np.inf,
    )
    assert randomisation_test(side_by_side(first, second), rng()).p_value == pytest.approx(
        pairs.pvalue, abs=EQUAL
    )


def test_three_treatments_give_the_p_of_scipys_permutation_test_of_f():
    groups = rng().normal(0, 1, 3), rng().normal(1, 1, 3), rng().normal(0, 2, 3)[::-1]
    reference = stats.permutation_test(
        groups,
        lambda *g, axis: stats.f_oneway(*g, axis=axis).statistic,
        alternative="greater",
        vectorized=True,
        n_resamples=np.inf,
    )
    ours = randomisation_test(all_together(*groups), rng())
    assert ours.deals == 1680  # 9! / (3! 3! 3!)
    assert ours.p_value == pytest.approx(reference.pvalue, abs=EQUAL)


def test_a_sample_of_deals_comes_near_to_all_of_them():
    first, second = rng().normal(0.8, 2, 30), rng().normal(0, 2, 30)[::-1]
    sampled = randomisation_test(side_by_side(first, second), rng())
    assert not sampled.exact
    assert sampled.p_value == pytest.approx(stats.ttest_rel(first, second).pvalue, abs=SAMPLED_P)
    apart = randomisation_test(all_together(first, second), rng())
    assert apart.p_value == pytest.approx(stats.ttest_ind(first, second).pvalue, abs=SAMPLED_P)


def test_treatments_that_are_all_alike_are_as_likely_as_can_be():
    assert randomisation_test(side_by_side((5, 5, 5), (5, 5, 5)), rng()).p_value == 1


def test_pits_that_hold_only_some_treatments_are_dealt_within_themselves():
    blocks = [Block(("a", "b"), (1.0, 3.0)), Block(("b", "c"), (2.0, 7.0)), Block(("a", "c"), (1.0, 9.0))]
    outcome = randomisation_test(blocks, rng())
    assert outcome.deals == 8
    assert outcome.p_value == 2 / 8  # only the mirror image is as far apart


def test_f_is_that_of_the_nist_data_sets():
    assert f_ratio(all_together(*SIRSTV)) == pytest.approx(SIRSTV_F, rel=CERTIFIED)
    silver = [[107.868 + value * 1e-7 for value in group] for group in ATMWTAG]
    # Seven of the digits are the same in every value, so float64 keeps about nine of F.
    assert f_ratio(all_together(*silver)) == pytest.approx(ATMWTAG_F, rel=1e-8)
    assert f_ratio(all_together(*ATMWTAG)) == pytest.approx(ATMWTAG_F, rel=CERTIFIED)


def test_f_with_pits_taken_out_is_that_of_statsmodels():
    values = rng().normal(0, 1, (5, 3)) + np.arange(5)[:, None] + [0, 0.5, 1]
    blocks = [Block(("a", "b", "c"), tuple(row)) for row in values]
    frame = pd.DataFrame(
        [(v, t, p) for p, row in enumerate(values) for t, v in zip("abc", row, strict=True)],
        columns=["value", "treatment", "pit"],
    )
    fit = sm.OLS.from_formula("value ~ C(pit) + C(treatment)", frame).fit()
    assert f_ratio(blocks) == pytest.approx(anova_lm(fit)["F"]["C(treatment)"], rel=EQUAL)


@pytest.mark.parametrize("pits", [3, 5, 12])
@pytest.mark.parametrize("paired", [True, False])
def test_an_interval_from_few_pits_holds_the_truth_as_often_as_it_says(pits, paired):
    draw, truth, sets = rng(), 2.0, 300
    held = 0
    for _ in range(sets):
        if paired:
            effect = paired_effect(draw.normal(truth, 3, pits), draw)
        else:
            effect = unpaired_effect(draw.normal(truth, 3, pits), draw.normal(0, 3, pits), draw)
        held += effect.low <= truth <= effect.high
    # 95 in 100; of 300 sets by chance 91.2 to 98.8 (three standard errors), and 3 for skewness of resamples.
    assert 0.89 <= held / sets <= 0.99


def test_two_pits_alone_leave_no_interval():
    effect = unpaired_effect(np.array([3.0]), np.array([1.0]), rng())
    assert effect.value == 2 and np.isnan(effect.low)


@pytest.mark.parametrize(("difference", "sd"), [(5.0, 6.0), (10.0, 8.0), (2.0, 4.0)])
def test_the_pits_needed_are_those_of_statsmodels(difference, sd):
    pairs = TTestPower().solve_power(effect_size=difference / sd, power=0.8, alpha=0.05)
    assert pits_needed(difference, sd, paired=True) == max(int(np.ceil(pairs)), LEAST_PAIRS)
    apart = TTestIndPower().solve_power(effect_size=difference / sd, power=0.8, alpha=0.05)
    assert pits_needed(difference, sd, paired=False) == max(int(np.ceil(apart)), LEAST_APIECE)


def test_even_pits_that_do_not_vary_must_be_enough_to_rule_out_chance():
    assert pits_needed(1.0, 0.0, paired=True) == 6
    outcome = randomisation_test(side_by_side(np.ones(6), np.zeros(6)), rng())
    assert outcome.p_value == outcome.least_p == 2 / 2**6
    assert randomisation_test(side_by_side(np.ones(5), np.zeros(5)), rng()).p_value > 0.05
    assert pits_needed(1.0, float("nan"), paired=True) is None
    assert pits_needed(0.001, 5.0, paired=True) is None


def test_the_correction_for_many_questions_is_that_of_statsmodels():
    p_values = [0.004, 0.03, 0.02, 0.5, 0.011, 0.02]
    assert holm(p_values) == pytest.approx(multipletests(p_values, method="holm")[1], abs=EQUAL)
    assert holm([]) == []


def roots_frame(pits, roots, wall_sd, effect=2.0, sides="ab"):
    draw, rows = rng(), []
    for pit in range(pits):
        soil = draw.normal(0, 1)
        for treatment in sides:
            wall = soil + draw.normal(0, wall_sd) + (effect if treatment == "a" else 0)
            rows += [(wall + draw.normal(), treatment, f"p{pit}", f"p{pit}{treatment}") for _ in range(roots)]
    return pd.DataFrame(rows, columns=["value", "treatment", "pit", "wall"])


def test_with_as_many_roots_on_each_wall_the_mixed_model_is_the_paired_test_of_the_walls():
    frame = roots_frame(8, 10, wall_sd=1.0)
    model = fit_roots(frame, "a", "b")
    walls = frame.groupby(["pit", "treatment"])["value"].mean().unstack()
    differences = walls["a"] - walls["b"]
    # Equal when variances are inside their bounds: the walls' means are all that tells of the treatment.
    assert model.effect == pytest.approx(differences.mean(), abs=1e-5)
    assert model.se == pytest.approx(differences.std() / np.sqrt(8), rel=1e-3)
    assert model.p_value == pytest.approx(stats.ttest_rel(walls["a"], walls["b"]).pvalue, rel=0.01)
    assert (model.roots, model.walls) == (160, 16)
    assert 0.4 < model.alike < 0.9  # made with two thirds


def test_the_mixed_model_does_not_mind_the_unit_of_the_figure():
    frame = roots_frame(6, 8, wall_sd=1.0)
    plain = fit_roots(frame, "a", "b")
    fine = fit_roots(frame.assign(value=1.05 + 0.001 * frame["value"]), "a", "b")
    assert fine.effect == pytest.approx(0.001 * plain.effect, rel=1e-3)
    assert fine.p_value == pytest.approx(plain.p_value, rel=0.01)


def test_there_is_no_mixed_model_of_one_wall_a_treatment():
    assert fit_roots(roots_frame(1, 50, wall_sd=1.0), "a", "b") is None

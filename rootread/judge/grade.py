"""The wall's grade: five parts, their weighted mean, and how sure it is.

Every part is made so that a root which did worse lowers it or leaves it be.
Evenness alone compares: it falls with the gap between the wall and its worst
strip, so a wall that is worse in its best strip is more even. The cost of the
gap is therefore held low enough that the wall's own descent or passage always
costs more than evenness gives back.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from rootread.fieldsheet import SheetRow
from rootread.judge.scores import STRAIGHTNESS_SPAN_IN, RootSums, equal_roots, freedom_sums, root_sums
from rootread.judge.survival import RiskTable, passing_share, passing_shares_by_zone, wall_risk
from rootread.judge.types import Grade, GradePart, Layer
from rootread.judge.verdict import verdict_words
from rootread.judge.zones import Zones, sparse, zones_of
from rootread.measure.calibrated import GRADE_ROOT_SD, GRADE_ROOTS_KNOWN, GRADE_SE
from rootread.measure.intervals import NORMAL_95, doubt
from rootread.measure.types import Interval, Readings
from rootread.settings import JudgeSettings
from rootread.shares import percent
from rootread.units import length_words

GAP_COST = 2.0
"""A strip that does worse than the whole wall by half the scale leaves nothing of evenness."""
FREEDOM = (0.5, 0.95)
"""Mean of descent / pattern, no point above 1, that scores 0 and 100: roots level half their way, and
roots that go down in the pattern or steeper but for their first inches."""
STRAIGHT = (0.85, 0.99)
"""Straight distance / length over 3 in that scores 0 and 100; a right-angled corner has 0.71 at its
point, and a root of loose soil bends little."""
FLATTENED = (0.5, 0.0)
"""Share of root length flattened that scores 0 and 100."""
DRAWS_AT_ONCE = 1000
"""Draws of the roots graded together, so that memory does not grow with their number."""
PART_NAMES = ("descent", "passage", "straightness", "roundness", "evenness")


def grade_wall(
    readings: Readings, layers: Sequence[Layer], row: SheetRow | None, settings: JudgeSettings
) -> Grade:
    """Grade a wall from 0 (stopped) to 100 (open).

    Parameters
    ----------
    layers : as found; a root that stopped at one did not pass.
    row : the wall's row of the field sheet, for the places of the shanks.

    Returns
    -------
    The grade; a wall without roots has NaN and says so.
    """
    if not readings.roots:
        nothing = float("nan")
        return Grade(Interval(nothing, nothing, nothing), (), "no roots")
    evidence = _evidence(readings, layers, row)
    weights, gap_cost = _weights(settings)
    scores = _part_scores(evidence, np.ones((1, len(readings.roots))), gap_cost)[:, 0]
    score = float(weights @ scores)
    draws = score + _draws(readings, evidence, weights, gap_cost, settings)
    low, high = np.clip(np.quantile(draws, [0.025, 0.975]), 0.0, 100.0)
    interval = Interval(score, min(float(low), score), max(float(high), score))
    return Grade(interval, _parts(scores, weights, evidence), verdict_words(interval, settings))


def spread_of_roots(
    readings: Readings, layers: Sequence[Layer], row: SheetRow | None, settings: JudgeSettings
) -> tuple[float, float]:
    """By how much the grade moves as a wall's roots are drawn again, and of how many equal roots that is.

    ``GRADE_ROOT_SD`` and ``GRADE_ROOTS_KNOWN`` are estimated from it (``benchmarks/calibrate.py``).
    """
    evidence, rng = _evidence(readings, layers, row), np.random.default_rng(settings.seed)
    deviations = _by_roots(readings, evidence, *_weights(settings), settings, rng)
    return float(deviations.std()), equal_roots(evidence.sums)


def part_shares(settings: JudgeSettings) -> dict[str, float]:
    """What each part counts of the grade, by its name; the settings' weights need not add up to 1."""
    weights = {name: float(getattr(settings, f"weight_{name}")) for name in PART_NAMES}
    return {name: weight / sum(weights.values()) for name, weight in weights.items()}


def _weights(settings: JudgeSettings) -> tuple[NDArray[np.float64], float]:
    """``(5,)`` weights of the parts, with sum 1, and what a gap between strips may cost."""
    weights = np.array(list(part_shares(settings).values()))
    return weights, min(GAP_COST, 2.0 * min(weights[0], weights[1]) / max(weights[4], 1e-9))


@dataclass(frozen=True, eq=False)
class _Evidence:
    """All that the grade rests on."""

    zones: Zones
    sums: RootSums
    risk: RiskTable
    zone_at_depth: NDArray[np.intp]
    """``(R, D)`` zone in which each root is at each depth."""


def _evidence(readings: Readings, layers: Sequence[Layer], row: SheetRow | None) -> _Evidence:
    zones = zones_of(readings.roots, row)
    risk = wall_risk(readings, layers)
    return _Evidence(zones, root_sums(readings, zones), risk, zones.at(risk.x_in))


def _between(value: NDArray[np.float64], ends: tuple[float, float]) -> NDArray[np.float64]:
    """Where a value lies from the first end (0) to the second (1), held between them."""
    return np.clip((value - ends[0]) / (ends[1] - ends[0]), 0.0, 1.0)


def _ratio(part: NDArray[np.float64], whole: NDArray[np.float64], empty: float) -> NDArray[np.float64]:
    return np.divide(part, whole, out=np.full_like(part, empty), where=whole > 0)


def _part_scores(evidence: _Evidence, weight: NDArray[np.float64], gap_cost: float) -> NDArray[np.float64]:
    """``(5, B)`` part scores, 0 to 100, for ``(B, R)`` weights of the roots."""
    sums = evidence.sums
    counted = weight * sums.counts
    in_zone = weight @ sums.in_zone.T
    points = in_zone.sum(axis=1)
    freedom = weight @ sums.freedom.T
    descent = _between(_ratio(freedom.sum(axis=1), points, 1.0), FREEDOM)
    passage = passing_share(evidence.risk, counted)[:, -1]
    zone_descent = _between(_ratio(freedom, in_zone, 1.0), FREEDOM)
    zone_passage = passing_shares_by_zone(
        evidence.risk, evidence.zone_at_depth, len(evidence.zones.names), counted
    )
    worst = np.where(sparse(in_zone), np.inf, (zone_descent + zone_passage) / 2).min(axis=1)
    straight = _between(_ratio(weight @ sums.straight, points, 1.0), STRAIGHT)
    rounded = _between(_ratio(weight @ sums.flattened, weight @ sums.flat_or_round, 0.0), FLATTENED)
    even = 1.0 - np.clip(gap_cost * ((descent + passage) / 2 - worst), 0.0, 1.0)
    return 100.0 * np.stack([descent, passage, straight, rounded, even])


def _parts(
    scores: NDArray[np.float64], weights: NDArray[np.float64], evidence: _Evidence
) -> tuple[GradePart, ...]:
    sums = evidence.sums
    points = sums.in_zone.sum()
    flattened = sums.flattened.sum() / max(sums.flat_or_round.sum(), 1.0)
    reasons = (
        f"Roots kept {percent(sums.freedom.sum() / points)} of a free descent; steep stretches do not "
        "make up for level ones.",
        f"Down the whole wall {scores[1]:.0f} of 100 roots get by without turning or stopping.",
        f"Straight distance is {percent(sums.straight.sum() / points)} of root length over each "
        f"{length_words(STRAIGHTNESS_SPAN_IN, 0)}.",
        f"{percent(flattened).capitalize()} of the root length looks flattened.",
        _evenness_words(evidence.zones),
    )
    return tuple(
        GradePart(name, float(score), float(weight), reason)
        for name, score, weight, reason in zip(PART_NAMES, scores, weights, reasons, strict=True)
    )


def _evenness_words(zones: Zones) -> str:
    if zones.guessed:
        return "Descent and passage compared across the wall (thirds of it, for want of shank places on it)."
    return f"Descent and passage compared between {' and '.join(zones.names)}."


def _draws(
    readings: Readings,
    evidence: _Evidence,
    weights: NDArray[np.float64],
    gap_cost: float,
    settings: JudgeSettings,
) -> NDArray[np.float64]:
    """Deviations of the grade that this wall could as well have shown, given what a reading gets wrong.

    Roots are drawn again; the level is turned by its standard error; and
    tracing adds its own.
    """
    rng = np.random.default_rng(settings.seed)
    by_roots = _steadied(_by_roots(readings, evidence, weights, gap_cost, settings, rng), evidence, rng)
    points = evidence.sums.in_zone.sum()
    turned = [
        (
            freedom_sums(readings, evidence.zones, side * readings.errors.level_se_deg) * evidence.sums.counts
        ).sum()
        for side in (-1.0, 1.0)
    ]
    by_level = 100.0 * weights[0] * (turned[1] - turned[0]) / 2 / points / (FREEDOM[1] - FREEDOM[0])
    noise = rng.normal(size=(2, settings.bootstrap))
    return by_roots + by_level * noise[0] + GRADE_SE * noise[1]


def _by_roots(
    readings: Readings,
    evidence: _Evidence,
    weights: NDArray[np.float64],
    gap_cost: float,
    settings: JudgeSettings,
    rng: np.random.Generator,
) -> NDArray[np.float64]:
    """Deviations of the grade with its roots drawn again with replacement (bootstrap).

    Shrunk by the finite-population correction, because the wall's own roots
    are in question and most of them were read, and widened where a trace may
    be no root (see ``measure.intervals``).
    """
    count = len(readings.roots)
    sure = np.array([root.trace.confidence for root in readings.roots])
    wider = np.sqrt(np.minimum(doubt(sure), 1.0))
    drawn = np.empty(settings.bootstrap)
    for first in range(0, len(drawn), DRAWS_AT_ONCE):
        here = slice(first, first + DRAWS_AT_ONCE)
        again = rng.multinomial(count, np.full(count, 1 / count), size=len(drawn[here]))
        drawn[here] = weights @ _part_scores(evidence, 1.0 + wider * (again - 1.0), gap_cost)
    return drawn - drawn.mean()


def _steadied(
    deviations: NDArray[np.float64], evidence: _Evidence, rng: np.random.Generator
) -> NDArray[np.float64]:
    """The deviations by roots, as wide as so few roots allow.

    How far a few roots lie apart says little of how far roots lie apart: three
    may be alike by chance. So the variance between roots is taken as if
    d0 = ``GRADE_ROOTS_KNOWN`` more had been seen that lie as far apart as on a
    usual wall, s0 = ``GRADE_ROOT_SD``: s^2 = (d0 s0^2 + d s^2) / (d0 + d), with
    d = n - 1, and Student's t of d0 + d degrees of freedom (Smyth 2004,
    Statistical Applications in Genetics and Molecular Biology 3:3, eq. for the
    moderated t; from memory). A bootstrap's variance is (n - 1) / n of s^2 / n.
    """
    n = equal_roots(evidence.sums)
    known = GRADE_ROOTS_KNOWN + n - 1.0
    own = np.sqrt(n / known)
    usual = GRADE_ROOT_SD * np.sqrt(GRADE_ROOTS_KNOWN / known / n)
    wider = float(stdtrit(known, 0.975)) / NORMAL_95
    return wider * (own * deviations + usual * rng.normal(size=len(deviations)))

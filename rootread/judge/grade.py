"""The wall's grade: five parts, their weighted mean, and how sure it is."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from rootread.fieldsheet import SheetRow
from rootread.judge.diversions import diversions
from rootread.judge.passage import LayerPlace, outcomes
from rootread.judge.scores import RootScores, descent_score, root_scores
from rootread.judge.types import Grade, GradePart, Layer
from rootread.judge.verdict import verdict_words
from rootread.judge.zones import Zones, zones_of
from rootread.measure.types import Interval, Readings
from rootread.settings import JudgeSettings

UNSEEN_SHARE = 0.15
"""Share of the roots that a reading misses or gets wrong (see ``measure.descent``)."""
TRACING_SE = 1.5
"""What following and measuring roots adds to the error of the grade, points."""
GAP_COST = 2.0
"""A strip that does half as well as the wall on the whole scores nothing for evenness."""


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
    scores = root_scores(
        readings.roots, _held(readings, layers), readings.pattern.free_from_deg, readings.counted_width_in
    )
    zones = zones_of(readings.roots, row)
    parts = _parts(scores, zones, settings)
    weights = np.array([part.weight for part in parts])
    score = float(weights @ [part.score for part in parts] / weights.sum())
    draws = _draws(readings, scores, zones, weights, score, settings)
    low, high = np.clip(np.quantile(draws, [0.025, 0.975]), 0.0, 100.0)
    interval = Interval(score, min(float(low), score), max(float(high), score))
    return Grade(interval, parts, verdict_words(interval, settings))


def _held(readings: Readings, layers: Sequence[Layer]) -> set[int]:
    """Roots turned anywhere, or stopped at a layer."""
    held = {event.root for event in diversions(readings.roots)}
    for layer in layers:
        place = LayerPlace(layer.depth_in, layer.x_from_in, layer.x_to_in)
        held |= {i for i, outcome in outcomes(readings.roots, place, held).items() if outcome == "stopped"}
    return held


def _part_scores(scores: RootScores, zones: Zones, weight: NDArray[np.float64]) -> NDArray[np.float64]:
    """``(5, B)`` part scores, 0 to 100, for ``(B, R)`` weights of the roots."""
    total = np.maximum(weight.sum(axis=1), 1e-9)
    single = (scores.descent, scores.passage, scores.straightness, scores.roundness)
    means = [weight @ score / total for score in single]
    quality = weight @ scores.quality / total
    in_zone = weight @ zones.root_share.T
    zone_quality = (weight * scores.quality) @ zones.root_share.T / np.maximum(in_zone, 1e-9)
    worst = np.where(in_zone > 0, zone_quality, np.inf).min(axis=1)
    evenness = 1.0 - np.clip(GAP_COST * (quality - worst), 0.0, 1.0)
    return 100.0 * np.stack([*means, evenness])


def _parts(scores: RootScores, zones: Zones, settings: JudgeSettings) -> tuple[GradePart, ...]:
    descent, passage, straight, rounded, even = _part_scores(scores, zones, scores.weight[None])[:, 0]
    where = "between " + " and ".join(zones.names) if not zones.guessed else "across the wall"
    guess = " The sheet gives no shanks, so thirds of the wall stand in for slots and berms: a guess."
    return (
        GradePart(
            "descent",
            float(descent),
            settings.weight_descent,
            f"Freedom of descent {descent:.0f} of 100; roots steeper than the pattern cost nothing.",
        ),
        GradePart(
            "passage",
            float(passage),
            settings.weight_passage,
            f"{passage:.0f} % of the roots went down without being turned sideways or stopped at a layer.",
        ),
        GradePart(
            "straightness",
            float(straight),
            settings.weight_straightness,
            f"Straightness {straight:.0f} of 100, from root length against the line between its ends.",
        ),
        GradePart(
            "roundness",
            float(rounded),
            settings.weight_roundness,
            f"Roundness {rounded:.0f} of 100, from the share of root length that looks flattened.",
        ),
        GradePart(
            "evenness",
            float(even),
            settings.weight_evenness,
            f"Evenness {even:.0f} of 100 {where}." + (guess if zones.guessed else ""),
        ),
    )


def _draws(
    readings: Readings,
    scores: RootScores,
    zones: Zones,
    weights: NDArray[np.float64],
    score: float,
    settings: JudgeSettings,
) -> NDArray[np.float64]:
    """Grades that this wall could as well have had, given what a reading gets wrong.

    Roots are drawn again with replacement (bootstrap), shrunk by the
    finite-population correction because the wall's own roots are in question
    and most of them were read; the level is turned by its standard error; and
    tracing adds its own.
    """
    rng = np.random.default_rng(settings.seed)
    count = len(scores.weight)
    again = rng.multinomial(count, np.full(count, 1 / count), size=settings.bootstrap)
    again_weight = scores.weight * (1.0 + np.sqrt(UNSEEN_SHARE) * (again - 1.0))
    by_roots = weights @ _part_scores(scores, zones, again_weight) / weights.sum() - score

    free = readings.pattern.free_from_deg
    level = readings.level_se_deg
    tilted = [
        float(
            np.average([descent_score(r, free, side * level) for r in readings.roots], weights=scores.weight)
        )
        for side in (-1.0, 1.0)
    ]
    by_level = 100.0 * weights[0] / weights.sum() * (tilted[1] - tilted[0]) / 2
    noise = rng.normal(size=(2, settings.bootstrap))
    return score + by_roots - by_roots.mean() + by_level * noise[0] + TRACING_SE * noise[1]

"""The chance that a half inch of root is squeezed flat, by what a photo shows of it.

A root thins from base to tip, by much the same share an inch, so that the
logarithm of its width is a falling line, its taper. Squeezed between clods,
against a layer or in a crack it becomes a ribbon and looks wider than that. But
widths read off a photo scatter: a clod hides an edge, a root lies beside
another. So half inch by half inch is asked

- how far its width stands above the taper, and above what is around, before and behind;
- how much less the light falls off across it than across the rest of the root
  (see ``light``): a ribbon keeps its brightness to its edges;
- whether the root left its course there to go upright, as in a crack;
- how near the upper end it lies, where a root is thickest by nature, or by a
  join with a thicker one;
- how wide the root is, and how much its widths scatter.

None of these tells it alone. The chance is a logistic regression on them, fitted
on made walls (``benchmarks/flattening.py --fit``):

    chance = 1 / (1 + exp(-(b_0 + sum b_k (f_k - m_k))))
"""

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from rootread.median import median_of
from rootread.settings import MeasureSettings

Values = NDArray[np.float64]
Features = dict[str, Values]
"""``(P,)`` values by name, one a half inch."""

SAID_FROM = 0.5
"""Half inches are said to be flattened where the chance is even or better. On made walls half of them are, on
photos of other makers a third."""
PIECE_IN = 0.5
"""What the chance was fitted on, however short a stretch the settings ask for."""
FEWEST_PIECES = 4
"""Of a root's half inches; fewer show no taper."""
FEWEST_FOR_A_SLOPE = 5
FITS = 3
STANDS_OUT = 1.5
"""Standard deviations above the taper from which a half inch is left out when it is fitted again."""
LEAST_SCATTER = 0.05
"""Of log width; no photo shows a half inch of root more exactly."""
AROUND = (3, 10)
"""Half inches from here to there away are what is around."""
UPRIGHT_DEG, OFF_COURSE_DEG = (50.0, 65.0), 25.0
"""From the first to the second descent a root comes to count as upright, and fully off its course if it is
so much steeper than its middle descent."""
UPPER_END_IN = 1.0
FITTED_WIDTHS_IN, MOST_SCATTER = (0.02, 0.35), 0.6
"""Of the roots that the chance was fitted on; a thicker one, of another crop, is no flatter for that."""
USUAL_RATIO = 1.5
"""The ratio of width to taper that the fit knows as flattened."""
FITTED = Path(__file__).with_name("squeezed.json")
"""Weight and mean of each feature, as fitted."""


@dataclass(frozen=True, eq=False)
class Seen:
    """What a photo shows along one root at even steps, from its upper end on; each ``(N,)``."""

    width_in: Values
    unclear: NDArray[np.bool_]
    """True where the root was bridged or touches another, so that its width is not its own."""
    descent_deg: Values
    """Read on the way down."""
    falloff: Values
    """How light falls off across the root."""


def looks_flattened(seen: Seen, settings: MeasureSettings) -> NDArray[np.bool_]:
    """``(N,)`` True in stretches likely enough flattened and as long as the settings ask.

    What is unclear neither shapes the taper nor counts.
    """
    size = piece_size(settings)
    features, at = piece_features(seen, settings)
    flat = np.zeros(len(seen.width_in), dtype=bool)
    if len(at):
        likely = at[chance(features) >= SAID_FROM]
        for stretch in np.split(likely, np.flatnonzero(np.diff(likely) > 1) + 1):
            if len(stretch) * PIECE_IN >= settings.flattened_min_length_in:
                flat[stretch[0] * size : (stretch[-1] + 1) * size] = True
    return flat & ~seen.unclear


def piece_size(settings: MeasureSettings) -> int:
    """Points of a half inch."""
    return max(round(PIECE_IN / settings.step_in), 1)


def chance(features: Features) -> Values:
    """``(P,)`` that each half inch is flattened."""
    score = np.sum([b * (features[name] - mean) for name, (b, mean) in _weights().items()], axis=0)
    found: Values = 1.0 / (1.0 + np.exp(-score))
    return found


@cache
def _weights() -> dict[str, tuple[float, float]]:
    fitted: dict[str, tuple[float, float]] = json.loads(FITTED.read_text(encoding="utf-8"))
    return fitted


def piece_features(seen: Seen, settings: MeasureSettings) -> tuple[Features, NDArray[np.intp]]:
    """What is seen of each half inch that is mostly clear, and which of the root's half inches these are.

    None of a root that has too few.
    """
    size = piece_size(settings)
    count = len(seen.width_in) // size

    def pieces(values: Values) -> Values:
        return values[: count * size].reshape(count, size)

    at = np.flatnonzero(pieces(seen.unclear.astype(float)).mean(axis=1) < 0.5)
    if len(at) < FEWEST_PIECES:
        return {}, at[:0]
    log_width: Values = np.median(pieces(np.log(np.maximum(seen.width_in, 1e-3)))[at], axis=1)
    lit: Values = np.median(pieces(seen.falloff)[at], axis=1)
    descent: Values = pieces(seen.descent_deg)[at].mean(axis=1)
    # Where another ratio is asked for, widths must stand as much farther above the taper.
    asked = np.log(settings.flattened_ratio / USUAL_RATIO)
    above, scatter = _above_taper(log_width, at)
    above = above - asked
    even = lit - median_of(lit)
    low, high = UPRIGHT_DEG
    upright = ((descent - low) / (high - low)).clip(0, 1)
    off_course = ((descent - median_of(descent)) / OFF_COURSE_DEG).clip(0, 1)
    apart = at[None, :] - at[:, None]
    around = (np.abs(apart) >= AROUND[0]) & (np.abs(apart) <= AROUND[1])
    before_behind = [_above_those(log_width, around & side) - asked for side in (apart < 0, apart > 0)]
    nearest = np.abs(apart) <= 1
    return {
        "always": np.ones(len(at)),
        "above_taper": above.clip(-0.5, 1.2),
        "above_taper_near": _mean_of(above, nearest).clip(-0.5, 1.2),
        "above_around": (_above_those(log_width, around) - asked).clip(-0.5, 1.2),
        "above_both_sides": np.minimum(*before_behind).clip(-0.8, 0.8),
        "light": even.clip(-1, 1),
        "light_near": _mean_of(even, nearest).clip(-1, 1),
        "upright_off_course": _mean_of(upright * off_course, nearest),
        "upper_end": np.exp(-at * size * settings.step_in / UPPER_END_IN),
        "scatter": np.full(len(at), min(scatter, MOST_SCATTER)),
        "log_width": log_width.clip(*np.log(FITTED_WIDTHS_IN)),
    }, at


def _above_taper(log_width: Values, at: NDArray[np.intp]) -> tuple[Values, float]:
    """How far each half inch stands above the root's own taper, and how they scatter about it.

    The taper is the falling line through what most of the root shows: what stands above it is left out,
    and it is fitted again.
    """
    own = np.ones(len(at), dtype=bool)
    for _ in range(FITS):
        slope = np.polyfit(at[own], log_width[own], 1)[0] if own.sum() >= FEWEST_FOR_A_SLOPE else 0.0
        flat = log_width - min(float(slope), 0.0) * at
        above: Values = flat - median_of(flat[own])
        # The standard deviation of a normal from its median deviation.
        scatter = max(1.4826 * median_of(np.abs(above[own])), LEAST_SCATTER)
        own = above < STANDS_OUT * scatter
    return above, scatter


def _above_those(log_width: Values, those: NDArray[np.bool_]) -> Values:
    """How far each stands above the median of some others; 0 where there are fewer than two."""
    return np.array(
        [
            one - median_of(log_width[others]) if others.sum() >= 2 else 0.0
            for one, others in zip(log_width, those, strict=True)
        ]
    )


def _mean_of(values: Values, those: NDArray[np.bool_]) -> Values:
    found: Values = (those @ values) / those.sum(axis=1)
    return found

"""The chance that a trace follows one root and is right.

Right means: at least 70 % of the trace lies within 0.1 in of one and the same
root. A trace of straw, a crack or soil is not right, nor is one that joins
two roots; a trace of part of a root is. The chance is a logistic regression on
what is seen along the trace, fitted on made walls with known roots
(``benchmarks/confidence.py --fit``):

    chance = 1 / (1 + exp(-(b_0 + sum b_k (f_k - m_k))))
"""

import json
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from rootread.find.types import RootMap
from rootread.follow.company import beside_another
from rootread.follow.types import Trace
from rootread.geometry import arc_length
from rootread.plane.types import WallImage

Values = NDArray[np.float64]
Features = dict[str, Values]
"""``(R,)`` values by name, one a trace."""

WINDOW_IN = 0.4
"""Before and after are compared over this much root."""
ARM_IN = 0.75
"""Arms between which a turn is taken."""
SAME_LINE_IN = 0.04
"""Traces whose centrelines are this near share the stretch."""
END_NEAR_IN = 0.2
"""Another trace that ends this near to the middle of this one might have gone on along it."""
LEAST, MOST = 0.02, 0.98
"""No trace is surer than what was left out of the fit allows."""
FITTED = Path(__file__).with_name("confidence.json")
"""Weight and mean of each feature, as fitted."""


def with_confidence(traces: Sequence[Trace], root_map: RootMap, image: WallImage) -> tuple[Trace, ...]:
    """The traces with their confidence."""
    if not traces:
        return ()
    chances = chance(trace_features(traces, root_map, image))
    return tuple(replace(trace, confidence=float(c)) for trace, c in zip(traces, chances, strict=True))


def chance(features: Features) -> Values:
    """``(R,)`` chance that each trace is right."""
    score = np.sum([b * (features[name] - mean) for name, (b, mean) in _weights().items()], axis=0)
    return (1.0 / (1.0 + np.exp(-score))).clip(LEAST, MOST)


@cache
def _weights() -> dict[str, tuple[float, float]]:
    fitted: dict[str, tuple[float, float]] = json.loads(FITTED.read_text(encoding="utf-8"))
    return fitted


def trace_features(traces: Sequence[Trace], root_map: RootMap, image: WallImage) -> Features:
    """What is seen along each trace, and around it in the other traces."""
    alone = [_along(trace, root_map, image) for trace in traces]
    features = {name: np.array([one[name] for one in alone]) for name in alone[0]}
    return features | _among(traces)


def _along(trace: Trace, root_map: RootMap, image: WallImage) -> dict[str, float]:
    """Features of one trace by itself."""
    along = arc_length(trace.points)
    length_in = max(float(along[-1]), 1e-6)
    step_in = length_in / max(len(along) - 1, 1)
    seen = ~trace.inferred if not trace.inferred.all() else np.ones_like(trace.inferred)
    column, row = np.round(image.grid.to_px(trace.points)).astype(int).T
    row, column = row.clip(0, image.soil.shape[0] - 1), column.clip(0, image.soil.shape[1] - 1)
    probability = root_map.probability[row, column][seen].astype(float)
    # Ten grey levels on top, lest the noise of dark pixels become colour.
    red, green, blue = np.log(image.rgb[row, column].astype(float) + 10.0).T
    log_width = np.log(np.maximum(trace.width_in, 0.01))
    begins = np.flatnonzero(np.diff(trace.inferred.astype(int), prepend=0) == 1)
    window, arm = max(round(WINDOW_IN / step_in), 1), max(round(ARM_IN / step_in), 1)
    return {
        "always": 1.0,
        "log_length": float(np.log(length_in)),
        "log_length_squared": float(np.log(length_in)) ** 2,
        "probability": float(probability.mean()),
        "faint": float(np.quantile(probability, 0.1)),
        "gaps": float(np.sqrt(len(begins))),
        "inferred_share": float(trace.inferred.mean()),
        "inferred_in": float(np.sqrt(trace.inferred.sum() * step_in)),
        "turn": _largest_turn_deg(trace, arm) / 45.0,
        "width_step": _largest_step(log_width, window),
        "width_scatter": float(np.std(np.diff(log_width[::window]))) if len(log_width) > 2 * window else 0.0,
        "colour_step": _largest_step(np.column_stack([red - green, green - blue]), window) * 10,
        "light_step": _largest_step(green, window),
        "log_width": float(np.median(log_width)),
        "climb": float(np.sqrt(np.maximum(-np.diff(trace.points[:, 1]), 0).sum())),
        "level": float(abs(trace.points[-1, 0] - trace.points[0, 0]) / length_in),
        "cut": float(trace.cut),
    }


def _largest_turn_deg(trace: Trace, arm: int) -> float:
    """Largest change of direction between the arms before and after a point."""
    points = trace.points
    arm = min(arm, (len(points) - 1) // 2)
    if arm < 2:
        return 0.0
    back, on = points[arm:-arm] - points[: -2 * arm], points[2 * arm :] - points[arm:-arm]
    cross, dot = back[:, 0] * on[:, 1] - back[:, 1] * on[:, 0], (back * on).sum(axis=1)
    return float(np.degrees(np.abs(np.arctan2(cross, dot))).max())


def _largest_step(values: Values, window: int) -> float:
    """Largest difference between the means over the windows before and after a point."""
    values = values.reshape(len(values), -1)
    if len(values) < 2 * window + 1:
        return 0.0
    total = np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)])
    mean = (total[window:] - total[:-window]) / window
    return float(np.sqrt(((mean[window:] - mean[:-window]) ** 2).sum(axis=1)).max())


def _among(traces: Sequence[Trace]) -> Features:
    """Features of each trace among the others."""
    touching = beside_another(traces, None)
    shared = beside_another(traces, SAME_LINE_IN)
    ends = np.concatenate([trace.points[[0, -1]] for trace in traces])
    owner = np.repeat(np.arange(len(traces)), 2)
    tree = cKDTree(ends)
    rivals = []
    for index, trace in enumerate(traces):
        along = arc_length(trace.points)
        middle = trace.points[(along > END_NEAR_IN) & (along < along[-1] - END_NEAR_IN)][::4]
        near = {end for found in tree.query_ball_point(middle, END_NEAR_IN) for end in found}
        rivals.append(float(sum(owner[end] != index for end in near)))
    at_end = [len(found) for found in tree.query_ball_point(ends, 2 * END_NEAR_IN)]
    return {
        "touching": np.array([near.mean() for near in touching]),
        "shared": np.array([near.mean() for near in shared]),
        "rivals": np.sqrt(rivals),
        "ends_near": (np.array(at_end).reshape(-1, 2) > 1).sum(axis=1).astype(float),
    }

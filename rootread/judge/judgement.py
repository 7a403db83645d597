"""All that is judged of a wall beyond its layers and grade, for the report."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rootread.fieldsheet import SheetRow
from rootread.judge.advice import Advice, advise
from rootread.judge.curve import passage_curve
from rootread.judge.strips import Strip, strips
from rootread.judge.types import Grade, Layer, PassageCurve
from rootread.measure.abundance import Abundance, abundance
from rootread.measure.depthfit import DepthFit, depth_fit
from rootread.measure.projection import true_descent
from rootread.measure.slices import DepthSlice, depth_slices
from rootread.measure.types import Readings
from rootread.measure.waviness import Waviness, wall_waviness
from rootread.settings import JudgeSettings

AT_LAYER_IN = 1.0
"""Roots run on a layer and up to about an inch above it."""


@dataclass(frozen=True, eq=False)
class Judgement:
    """What a report shows beside layers and grade."""

    passage: PassageCurve
    strips: tuple[Strip, ...]
    around_layers: tuple[DepthSlice, ...]
    """Above the first layer, in it, below it, and so on; the whole wall when there is no layer."""
    waviness: Waviness
    abundance: tuple[Abundance, ...]
    depth_fit: DepthFit | None
    least_descent_deg: float
    """The mean descent if all roots left the wall plane as far as they can and still be seen."""
    advice: tuple[Advice, ...]


def judge_wall(
    readings: Readings, layers: Sequence[Layer], grade: Grade, row: SheetRow | None, settings: JudgeSettings
) -> Judgement:
    """Judge a wall that has been graded."""
    roots = readings.roots
    if not roots:
        nothing = float("nan")
        return Judgement(
            passage_curve(readings, layers),
            (),
            (),
            wall_waviness(()),
            (),
            None,
            nothing,
            advise(readings, layers, grade, row),
        )
    x = np.concatenate([root.trace.points[:, 0] for root in roots])
    return Judgement(
        passage=passage_curve(readings, layers),
        strips=strips(readings, layers, row),
        around_layers=depth_slices(roots, _edges_around(layers, readings)),
        waviness=wall_waviness(roots),
        abundance=abundance(roots, float(x.max() - x.min())),
        depth_fit=depth_fit(roots, np.random.default_rng(settings.seed)),
        least_descent_deg=float(true_descent(readings.descent.value)),
        advice=advise(readings, layers, grade, row),
    )


def _edges_around(layers: Sequence[Layer], readings: Readings) -> list[float]:
    """Depths that part a wall into above, in and below its layers."""
    deepest = max(float(root.trace.points[:, 1].max()) for root in readings.roots)
    edges = [0.0]
    for layer in layers:
        highest, lowest = layer.depth_range_in
        for edge in (highest - AT_LAYER_IN, lowest + AT_LAYER_IN / 2):
            if edges[-1] < edge < deepest:
                edges.append(edge)
    return [*edges, deepest + 1e-6]

"""What a perfect reading of a wall would say: its true roots, measured and judged like any traces."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from truth import TrueRoot, Truth

from rootread.fieldsheet import SheetRow, default_row
from rootread.follow import Trace
from rootread.judge import Grade, Layer, find_layers, grade_wall
from rootread.measure import Readings, measure_wall
from rootread.plane.types import Level, ScaleFinding, Surface, WallPlane
from rootread.settings import Settings

SHORTEST_IN = 0.5
"""Of the stretch that a photo shows of a root; the following stage leaves out shorter ones too."""
FLAT_WIDTH = 1.5
"""A stretch is flattened where it looks this much wider than the root's own taper, by definition."""
NOTHING = np.zeros((0, 2))


@dataclass(frozen=True, eq=False)
class TrueWall:
    """The true traces of a wall with what measuring and judging them gives."""

    readings: Readings
    layers: tuple[Layer, ...]
    grade: Grade
    flattened_share: float
    """Of the length that the photo shows."""


def true_wall(truth: Truth, settings: Settings, row: SheetRow | None = None) -> TrueWall:
    """Measure and judge the roots of the truth; ``row`` must have its places from the wall's left end."""
    row = row or default_row(f"{truth.name}.jpg")
    traced = [true_trace(root, f"r{number}") for number, root in enumerate(truth.roots)]
    traces = [trace for trace in traced if trace is not None]
    readings = measure_wall(traces, _true_plane(truth), settings.measure)
    layers = find_layers(readings, row.layers, settings.judge)
    grade = grade_wall(readings, layers, row, settings.judge)
    return TrueWall(readings, layers, grade, true_flattened_share(truth))


def true_trace(root: TrueRoot, name: str) -> Trace | None:
    """A root from where the photo first shows it to where it last does; None if that is too short."""
    at = np.flatnonzero(root.visible)
    if not len(at) or (at[-1] - at[0]) * 0.05 < SHORTEST_IN:
        return None
    span = slice(at[0], at[-1] + 1)
    return Trace(name, 0, None, root.points[span], root.width_in[span], ~root.visible[span], 1.0)


def _true_plane(truth: Truth) -> WallPlane:
    scale = ScaleFinding("card", 75.0, 1e-6, (), NOTHING, NOTHING, 0.0)
    line = np.array(truth.raw["soil_surface"], dtype=float)
    return WallPlane(np.eye(3), None, scale, Level("card", 0.0), Surface(line, 0.0, "photo"), 0.0)


def true_flattened_share(truth: Truth) -> float:
    """Share of the visible length that is flattened by the design's definition."""
    flat = np.concatenate([truly_flattened(root)[root.visible] for root in truth.roots])
    return float(flat.mean())


def truly_flattened(root: TrueRoot) -> NDArray[np.bool_]:
    """``(N,)`` where a root is no longer round and looks 1.5 times as wide as its taper.

    The taper is the line through the logarithm of its width where it is
    round; a root without a round inch has a ratio of width to thickness alone,
    and looks 1.5 times as wide as a round one of its cross-section from 2.25.
    """
    aspect = np.maximum(root.flat_ratio, 1.0 / np.maximum(root.flat_ratio, 1e-3))
    round_here = aspect < 1.1
    if round_here.sum() * 0.05 < 1.0:
        return (aspect >= FLAT_WIDTH**2) & (root.width_in >= 0.0)
    at = np.arange(len(aspect), dtype=float)
    thick = np.maximum(root.width_in, 1e-3)
    # A tip narrows fast, so that the last quarter inch says nothing about the taper.
    body = round_here & (at < len(at) - 5)
    if body.sum() < 15:
        body = round_here
    slope, level = np.polyfit(at[body], np.log(thick[body]), 1)
    return (aspect >= FLAT_WIDTH) & (thick >= FLAT_WIDTH * np.exp(level + min(slope, 0.0) * at))

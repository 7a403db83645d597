"""The longest sideways runs of a flagged wall, close up."""

from typing import TYPE_CHECKING

import numpy as np

from rootread.measure.types import SidewaysRun
from rootread.report.embed import photo_uri
from rootread.report.overlay import apart
from rootread.report.picture import Drawing, wall_view
from rootread.report.strokes import Picture, lay_over
from rootread.units import length_words

if TYPE_CHECKING:
    from rootread.wall import Wall

MOST_CROPS = 3
NEAR_IN = 2.0
"""A run so near in depth is one at the layer; layers slope and step."""
ASPECT = 1.6
"""Width over height, for all alike."""
BESIDE_IN = 0.8
"""Soil shown to both sides of a run."""
LEAST_WIDTH_IN = 6.0
CROP_PX, CROP_QUALITY = 560, 72


def flagged_runs(wall: "Wall") -> list[SidewaysRun]:
    """The longest runs at the layers along which roots ran sideways; none of a wall without such a layer."""
    depths_in = [layer.depth_in for layer in wall.layers if layer.sideways_in > 0]
    runs = [run for root in wall.readings.roots for run in root.runs]
    near = [run for run in runs if any(abs(run.depth_in - depth_in) <= NEAR_IN for depth_in in depths_in)]
    return apart(near, MOST_CROPS)


def run_captions(wall: "Wall") -> list[str]:
    """What each crop shows: ``10.5 in sideways, 6.9 in deep``."""
    return [
        f"{length_words(run.length_in)} sideways, {length_words(run.depth_in)} deep"
        for run in flagged_runs(wall)
    ]


def run_crops(wall: "Wall", drawing: Drawing) -> list[str]:
    """Each flagged run as a picture with its traces and layer, a ``data:`` address."""
    runs = flagged_runs(wall)
    if not runs:
        return []
    drawn = lay_over(drawing.lines, drawing.plane.photo)
    return [photo_uri(_around(drawn, wall, run), CROP_PX, CROP_QUALITY) for run in runs]


def _around(drawn: Picture, wall: "Wall", run: SidewaysRun) -> Picture:
    """The part of the picture around a run, moved inward where the run lies at the picture's edge."""
    view = wall_view(wall)
    ends = view.px([[run.x_from_in, run.depth_in], [run.x_to_in, run.depth_in]])
    px_per_in = abs(ends[1, 0] - ends[0, 0]) / max(run.x_to_in - run.x_from_in, 1e-6)
    width = max(run.x_to_in - run.x_from_in + 2 * BESIDE_IN, LEAST_WIDTH_IN) * px_per_in
    height = width / ASPECT
    photo_from, photo_size = np.array([view.left_px, 0]), np.array(view.size_px)
    size = np.minimum([width, height], photo_size)
    corner = np.clip(ends.mean(axis=0) - size / 2, photo_from, photo_from + photo_size - size)
    left, top = corner.round().astype(int).tolist()
    return drawn[top : top + round(size[1]), left : left + round(size[0])]

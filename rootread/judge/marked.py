"""Layers as a person saw them: what was struck out is none, and a drawn depth wins over the found one."""

from collections.abc import Sequence

import numpy as np

from rootread.fieldsheet import RecordedLayer
from rootread.geometry import Points
from rootread.judge.diversions import diversions
from rootread.judge.gathering import MEMBER_IN
from rootread.judge.passage import LayerPlace, outcomes
from rootread.judge.recorded import with_recorded
from rootread.judge.shape import mean_depth
from rootread.judge.types import NO_EVIDENCE, Layer
from rootread.marks import LayerMark, Line, Marks
from rootread.measure.types import Readings
from rootread.plane.types import WallPlane

MOVED_IN = 3.0
"""A found layer this near to a marked one is the same layer, moved; another one is a layer of its own."""
STRUCK_IN = 1.5
"""A strike this near to a found layer means it; other marks may move the layer a little afterwards."""
MARKED_SE_IN = 0.15
"""A person draws the depth of a layer to about this."""


def with_marked_layers(
    layers: Sequence[Layer],
    readings: Readings,
    plane: WallPlane,
    marks: Marks | None,
    recorded: Sequence[RecordedLayer],
) -> tuple[Layer, ...]:
    """The found layers but those struck out, each marked one in the place of the nearest, from the top down.

    What the roots did is counted anew at the marked depth. A marked layer that
    was not found has a p value of 1.
    """
    if marks is None:
        return tuple(layers)
    left, drawn = list(layers), []
    for strike_px in marks.layers_struck_px:
        left = _without_struck(left, plane.to_wall_in(np.array(strike_px)))
    for mark in marks.layers:
        line_in = _left_to_right(plane, mark.line_px)
        depth_in = mean_depth(line_in)
        near = [layer for layer in left if abs(layer.depth_in - depth_in) <= MOVED_IN]
        moved = min(near, key=lambda layer: abs(layer.depth_in - depth_in), default=None)
        if moved is not None:
            left.remove(moved)
        place = LayerPlace(depth_in, float(line_in[0, 0]), float(line_in[-1, 0]))
        p_value = NO_EVIDENCE if moved is None else moved.p_value
        drawn.append(_layer(readings, place, mark, p_value))
    return with_recorded(sorted([*left, *drawn], key=lambda layer: layer.depth_in), recorded)


def _without_struck(layers: Sequence[Layer], strike_in: Points) -> list[Layer]:
    """The layers without the one that the strike lies on, if there is one."""

    def away_in(layer: Layer) -> float:
        x_in, depth_in = strike_in.T
        along = (x_in >= layer.x_from_in - STRUCK_IN) & (x_in <= layer.x_to_in + STRUCK_IN)
        return float(np.abs(depth_in - layer.line.depth_at(x_in)).mean()) if along.any() else float("inf")

    meant = min(layers, key=away_in, default=None)
    return [layer for layer in layers if layer is not meant or away_in(layer) > STRUCK_IN]


def marked_depth_in(line_px: Line, plane: WallPlane) -> float:
    """The mean depth of a line that a person drew."""
    return mean_depth(_left_to_right(plane, line_px))


def _left_to_right(plane: WallPlane, line_px: Line) -> Points:
    line_in = plane.to_wall_in(np.array(line_px))
    return line_in[np.argsort(line_in[:, 0])]


def _layer(
    readings: Readings,
    place: LayerPlace,
    mark: LayerMark,
    p_value: float,
) -> Layer:
    members = [
        event
        for event in diversions(readings.roots)
        if abs(event.depth_in - place.depth_in) <= MEMBER_IN and place.holds(event.x_in, event.depth_in)
    ]
    became = list(outcomes(readings.roots, place, {member.root for member in members}).values())
    se_in = float(np.hypot(MARKED_SE_IN, readings.errors.depth_se_in(place.depth_in)))
    return Layer(
        depth_in=place.depth_in,
        depth_se_in=se_in,
        x_from_in=place.x_from_in,
        x_to_in=place.x_to_in,
        reached=len(became),
        crossed=became.count("crossed"),
        turned=became.count("turned"),
        stopped=became.count("stopped"),
        sideways_in=sum(member.sideways_in for member in members),
        p_value=p_value,
        recorded=mark.name or None,
    )

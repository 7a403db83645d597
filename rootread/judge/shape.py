"""The line of a layer along the wall: level, sloped or stepped.

Three lines are fitted by least squares to the places where roots show the
layer: one depth; a depth that changes evenly with x; two depths with a step
between. Schwarz's criterion (Annals of Statistics 6:461-464, 1978; from
memory), ``n ln(rest / n) + parameters ln n``, weighs how well each fits against how
much it may bend. A slope or a step is believed only if it gains clearly and is
more than people mean by level.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points

Values = NDArray[np.float64]
Shape = Literal["level", "sloped", "stepped"]
Line = tuple[tuple[float, float], ...]
"""x and depth of its corners, left to right."""

LEAST_DROP_IN = 1.0
"""A layer that changes by less than this over its width is called level."""
CLEAR_GAIN = 10.0
"""Of the criterion: very strong evidence in its usual reading."""
LEAST_SCATTER_IN = 0.2
"""Roots lie on a layer no more exactly than this."""
FEWEST_A_SIDE = 3
"""Roots on either side of a step."""
FEWEST_ON_A_SLOPE = 6
STEP_WIDTH_IN = 1e-3
"""A step is drawn upright, but a line needs its corners from left to right."""


@dataclass(frozen=True)
class LayerLine:
    """Depth along the wall."""

    shape: Shape
    line_in: Line

    def depth_at(self, x_in: Values) -> Values:
        """Depth at places along the wall; beyond its ends it goes on level."""
        x, z = np.array(self.line_in).T
        return np.interp(x_in, x, z)


def mean_depth(line_in: Points) -> float:
    """Mean depth along a line ``(N, 2)`` of x and depth, x rising, by its run from left to right."""
    x, depth = line_in.T
    width = float(np.ptp(x))
    return float(np.trapezoid(depth, x) / width) if width > 0 else float(depth.mean())


def level_line(depth_in: float, x_from_in: float, x_to_in: float) -> LayerLine:
    """A line of one depth."""
    return LayerLine("level", ((x_from_in, depth_in), (max(x_to_in, x_from_in + STEP_WIDTH_IN), depth_in)))


def fit_line(x_in: Values, depth_in: Values, x_from_in: float, x_to_in: float) -> LayerLine:
    """The line through roots at ``x_in`` that show the layer at ``depth_in``.

    Parameters
    ----------
    x_from_in, x_to_in : how far the layer reaches.
    """
    level = level_line(float(depth_in.mean()), x_from_in, x_to_in)
    chosen, lowest = level, _criterion(level, x_in, depth_in, 1)
    for line, parameters in ((_sloped(x_in, depth_in, level), 2), (_stepped(x_in, depth_in, level), 3)):
        if line is None or abs(line.line_in[-1][1] - line.line_in[0][1]) < LEAST_DROP_IN:
            continue
        criterion = _criterion(line, x_in, depth_in, parameters)
        if criterion < lowest - CLEAR_GAIN:
            chosen, lowest = line, criterion
    return chosen


def _criterion(line: LayerLine, x: Values, depth: Values, parameters: int) -> float:
    rest = float(((depth - line.depth_at(x)) ** 2).mean())
    return float(len(x) * np.log(max(rest, LEAST_SCATTER_IN**2)) + parameters * np.log(len(x)))


def _sloped(x: Values, depth: Values, level: LayerLine) -> LayerLine | None:
    if len(x) < FEWEST_ON_A_SLOPE or np.ptp(x) <= 0:
        return None
    slope, at_zero = np.polyfit(x, depth, 1)
    (left, _), (right, _) = level.line_in
    # Beyond the outermost roots nothing is known of the slope, so the line goes on level there.
    first, last = float(np.clip(x.min(), left, right)), float(np.clip(x.max(), left, right))
    upper, lower = (float(at_zero + slope * at) for at in (first, last))
    corners = [(left, upper), (first, upper), (last, lower), (right, lower)]
    apart = [corner for k, corner in enumerate(corners) if k == 0 or corner[0] > corners[k - 1][0]]
    return LayerLine("sloped", tuple(apart))


def _stepped(x: Values, depth: Values, level: LayerLine) -> LayerLine | None:
    order = np.argsort(x, kind="stable")
    x, depth = x[order], depth[order]
    best, least = None, np.inf
    for count in range(FEWEST_A_SIDE, len(x) - FEWEST_A_SIDE + 1):
        rest = count * depth[:count].var() + (len(x) - count) * depth[count:].var()
        if rest < least:
            best, least = count, rest
    if best is None:
        return None
    at = float((x[best - 1] + x[best]) / 2)
    return step_line(float(depth[:best].mean()), float(depth[best:].mean()), at, level)


def step_line(left_in: float, right_in: float, at_in: float, reach: LayerLine) -> LayerLine:
    """Two depths with a step at ``at_in``, as far as ``reach`` goes."""
    left, right = reach.line_in[0][0], reach.line_in[-1][0]
    at = min(max(at_in, left + STEP_WIDTH_IN), right - 2 * STEP_WIDTH_IN)
    corners = ((left, left_in), (at, left_in), (at + STEP_WIDTH_IN, right_in), (right, right_in))
    return LayerLine("stepped", corners)

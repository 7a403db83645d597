"""What became of each root at a layer: crossed, turned, stopped, or never got there."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from rootread.judge.shape import LayerLine
from rootread.judge.types import Layer
from rootread.measure.types import RootReading

Outcome = Literal["crossed", "turned", "stopped"]

FROM_ABOVE_IN = 1.0
"""A root reaches a layer only if it was seen at least this far above it."""
AT_LAYER_IN = 0.5
"""A root that came this close to the layer's depth reached it, and crossed only if it got this far below."""
NEAR_LAYER_IN = 1.5
"""A trace that was seen this close above a layer was on its way there, though its bend may be lost."""
BESIDE_IN = 1.0
"""A layer may go on a little beyond the roots that show it."""
DIVERTED_AT_IN = 1.0
"""Roots run on a layer or a little above it."""
GOES_ON_IN = 0.75
"""Where another trace begins or ends this near a tip, the root most likely was lost there, not stopped."""
LEADS_UP_IN = 0.5
"""A trace that rises by more from where it is near a tip came down there too and does not lead on from it."""


@dataclass(frozen=True)
class LayerPlace:
    """Where a layer is."""

    depth_in: float
    x_from_in: float
    x_to_in: float
    line: LayerLine | None = None
    """Its depth along the wall; without it the layer is level."""

    def depth_at(self, x_in: NDArray[np.float64]) -> NDArray[np.float64]:
        """Depth of the layer at places along the wall."""
        return np.full_like(x_in, self.depth_in) if self.line is None else self.line.depth_at(x_in)

    def under(self, x_in: NDArray[np.float64], depth_in: NDArray[np.float64]) -> NDArray[np.float64]:
        """``(N,)`` inches by which places lie under the layer, negative above it."""
        return depth_in - self.depth_at(x_in)

    def beside(self, x_in: float) -> bool:
        """Whether a place lies on the layer or a little beyond its ends."""
        return self.x_from_in - BESIDE_IN <= x_in <= self.x_to_in + BESIDE_IN

    def holds(self, x_in: float, depth_in: float) -> bool:
        """Whether a diversion at this place is one at this layer."""
        under = self.under(np.array([x_in]), np.array([depth_in]))[0]
        return bool(abs(under) <= DIVERTED_AT_IN) and self.beside(x_in)


def place_of(layer: Layer) -> LayerPlace:
    """Where a layer that was found is."""
    return LayerPlace(layer.depth_in, layer.x_from_in, layer.x_to_in, layer.fitted)


def arrivals(roots: Sequence[RootReading], place: LayerPlace) -> int:
    """How many traces were seen to come down to the layer or near it, whatever became of them there."""
    return sum(_arrival(root, place, NEAR_LAYER_IN) is not None for root in roots)


def _arrival(root: RootReading, place: LayerPlace, within_in: float) -> float | None:
    """How far under the layer a root got that came from above to ``within_in`` of it; None for others."""
    x, z = root.trace.points.T
    under = place.under(x, z)
    if under.min() > -FROM_ABOVE_IN or under.max() < -within_in:
        return None
    return float(under.max()) if place.beside(arrival_x(root, place)) else None


def arrival_x(root: RootReading, place: LayerPlace) -> float:
    """Where along the wall a root first came to the layer, or nearest to it."""
    x, z = root.trace.points.T
    under = place.under(x, z)
    return float(x[int(np.argmax(under >= min(0.0, under.max())))])


def outcomes(roots: Sequence[RootReading], place: LayerPlace, turned: Collection[int]) -> dict[int, Outcome]:
    """The outcome of every root that reached the layer, by its index.

    Parameters
    ----------
    turned : indices of the roots with a diversion at this layer; they reached it, wherever else they went.

    A root that the photo's edge or the scale object cuts off near the layer,
    or that seems to go on in another trace, is left out, because nobody saw
    what it did there. Roots whose traces end side by side at a layer, where
    none leads on, were held there together.
    """
    goes_on = led_on(roots)
    result: dict[int, Outcome] = {}
    for index, root in enumerate(roots):
        if index in turned:
            result[index] = "turned"
            continue
        got_to = _arrival(root, place, AT_LAYER_IN)
        if got_to is None:
            continue
        if got_to >= AT_LAYER_IN:
            result[index] = "crossed"
        elif not (root.trace.cut or goes_on[index]):
            result[index] = "stopped"
    return result


def lost_tips(roots: Sequence[RootReading]) -> list[bool]:
    """For each root, whether its lower end is not its own: cut off, or near the end of another trace."""
    tips = np.array([_lower_end(root) for root in roots]).reshape(-1, 2)
    ends = np.array([end for root in roots for end in root.trace.points[[0, -1]]]).reshape(-1, 2)
    # a tip always finds itself among the ends, so a second end nearby is another's or the root's own base
    near = cKDTree(ends).query_ball_point(tips, GOES_ON_IN, return_length=True) if len(roots) else []
    return [root.trace.cut or count > 1 for root, count in zip(roots, near, strict=True)]


def led_on(roots: Sequence[RootReading]) -> list[bool]:
    """For each root, whether another trace leads on, level or downward, from near its lower end."""
    if not roots:
        return []
    ends = np.array([root.trace.points[[0, -1]] for root in roots]).reshape(-1, 2)
    others = ends.reshape(-1, 2, 2)[:, ::-1].reshape(-1, 2)
    leads = others[:, 1] >= ends[:, 1] - LEADS_UP_IN
    near = cKDTree(ends).query_ball_point([_lower_end(root) for root in roots], GOES_ON_IN)
    return [any(leads[k] and k // 2 != index for k in found) for index, found in enumerate(near)]


def _lower_end(root: RootReading) -> tuple[float, float]:
    base, tip = root.trace.points[[0, -1]]
    x, z = tip if tip[1] >= base[1] else base
    return float(x), float(z)

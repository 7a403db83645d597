"""What became of each root at a layer: crossed, turned, stopped, or never got there."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from rootread.measure.types import RootReading

Outcome = Literal["crossed", "turned", "stopped"]

FROM_ABOVE_IN = 1.0
"""A root reaches a layer only if it was seen at least this far above it."""
AT_LAYER_IN = 0.5
"""A root that came this close to the layer's depth reached it, and crossed only if it got this far below."""
BESIDE_IN = 1.0
"""A layer may go on a little beyond the roots that show it."""


@dataclass(frozen=True)
class LayerPlace:
    """Where a layer is."""

    depth_in: float
    x_from_in: float
    x_to_in: float


def outcomes(roots: Sequence[RootReading], place: LayerPlace, turned: Collection[int]) -> dict[int, Outcome]:
    """The outcome of every root that reached the layer, by its index.

    Parameters
    ----------
    turned : indices of the roots with a diversion at this layer; they reached it, wherever else they went.

    A root that the photo's edge or the scale object cuts off near the layer
    is left out, because nobody saw what it did there.
    """
    result: dict[int, Outcome] = {}
    for index, root in enumerate(roots):
        if index in turned:
            result[index] = "turned"
            continue
        x, z = root.trace.points.T
        if z.min() > place.depth_in - FROM_ABOVE_IN or z.max() < place.depth_in - AT_LAYER_IN:
            continue
        arrived_x = x[int(np.argmax(z >= min(place.depth_in, z.max())))]
        if not place.x_from_in - BESIDE_IN <= arrived_x <= place.x_to_in + BESIDE_IN:
            continue
        if z.max() >= place.depth_in + AT_LAYER_IN:
            result[index] = "crossed"
        elif not root.trace.cut:
            result[index] = "stopped"
    return result

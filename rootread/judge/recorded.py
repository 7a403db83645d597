"""Which recorded layer of the field sheet a found one is."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from rootread.fieldsheet import RecordedLayer
from rootread.judge.types import Layer

MATCH_FLOOR_IN = 0.5
"""A person reads the depth of a layer off a tape to about half an inch."""


def with_recorded(layers: Sequence[Layer], recorded: Sequence[RecordedLayer]) -> tuple[Layer, ...]:
    """The layers, each with the name of its recorded one, as the sheet writes it.

    The nearest pair is matched first; each recorded layer is one found layer at most. Layers that have a name
    keep it.
    """
    pairs = sorted(
        (abs(one.depth_in - layer.depth_in), index, number)
        for index, layer in enumerate(layers)
        for number, one in enumerate(recorded)
        if (may_be(layer, one) if layer.recorded is None else layer.recorded == one.name)
    )
    # Of a layer that has its name already, too, the recorded one is no other's.
    pairs.sort(key=lambda pair: layers[pair[1]].recorded is None)
    matched: dict[int, int] = {}
    for _, index, number in pairs:
        if index not in matched and number not in matched.values():
            matched[index] = number
    names = {index: recorded[number].name for index, number in matched.items()}
    return tuple(
        replace(layer, recorded=layer.recorded or names.get(index)) for index, layer in enumerate(layers)
    )


def may_be(layer: Layer, recorded: RecordedLayer) -> bool:
    """Whether a recorded depth lies within the joint uncertainty of the layer's line."""
    highest, lowest = layer.depth_range_in
    away_in = max(highest - recorded.depth_in, recorded.depth_in - lowest, 0.0)
    return away_in <= 2.0 * float(np.hypot(layer.depth_se_in, MATCH_FLOOR_IN))

"""Where shanks may have run, from what the roots did, when the sheet does not say.

Over a slot roots are dense and go down past the depth at which their
neighbours are turned. So every root that came to a layer is a vote at the place
where it came: for a slot if it crossed, for a berm if it was held. Votes are
smoothed along the wall, and slots are where more than half the roots near by
crossed. Without a layer there is nothing that tells a slot from a berm. It is
a guess, and called one.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from rootread.judge.diversions import diversions
from rootread.judge.passage import LayerPlace, arrival_x, outcomes, place_of
from rootread.judge.types import Layer
from rootread.measure.sideways import stretches
from rootread.measure.types import Readings

STEP_IN = 0.5
BLUR_IN = 2.5
"""Standard deviation of the smoothing: a slot is a hand or two wide."""
NARROWEST_IN = 3.0
FEWEST_EACH = 4
"""Roots that crossed, and roots that were held, to tell one strip from another."""
CLEAR_SHARE = (0.35, 0.65)
"""In berms fewer, in slots more of the roots cross, or the wall has no strips to speak of."""

Reach = tuple[float, float]


def guessed_slots(readings: Readings, layers: Sequence[Layer]) -> tuple[Reach, ...]:
    """Left and right end of each slot, left to right; none where the roots do not tell."""
    if not layers:
        return ()
    layer = max(layers, key=lambda one: one.reached)
    place = place_of(layer)
    turned_at = {
        event.root: event.x_in
        for event in diversions(readings.roots)
        if place.holds(event.x_in, event.depth_in)
    }
    became = outcomes(readings.roots, _along_the_wall(layer), turned_at)
    x = np.array([turned_at.get(root, arrival_x(readings.roots[root], place)) for root in became])
    crossed = np.array([outcome == "crossed" for outcome in became.values()])
    if min(crossed.sum(), (~crossed).sum()) < FEWEST_EACH:
        return ()
    at = np.arange(x.min(), x.max() + STEP_IN, STEP_IN)
    share = _share(at, x, crossed)
    if share.min() > CLEAR_SHARE[0]:
        return ()
    return tuple(
        (float(at[first]), float(at[past - 1]))
        for first, past in stretches(share > 0.5)
        if at[past - 1] - at[first] >= NARROWEST_IN and share[first:past].max() >= CLEAR_SHARE[1]
    )


def _along_the_wall(layer: Layer) -> LayerPlace:
    """The layer as if it ran on to both ends of the wall: over a slot roots do not show it."""
    return LayerPlace(layer.depth_in, -np.inf, np.inf, layer.fitted)


def _share(
    at: NDArray[np.float64], x: NDArray[np.float64], crossed: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """Share of the roots near each place that crossed, nearer ones counting more."""
    weight = np.exp(-0.5 * ((at[:, None] - x) / BLUR_IN) ** 2)
    return np.asarray(weight @ crossed / np.maximum(weight.sum(axis=1), 1e-9))

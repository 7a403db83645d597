"""Restricting layers: the depths at which roots were turned sideways together."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from rootread.fieldsheet import RecordedLayer
from rootread.judge.diversions import Diversion, diversions
from rootread.judge.passage import LayerPlace, arrivals, outcomes, place_of
from rootread.judge.scan import FEWEST_EVENTS, Gathering, strongest_gathering
from rootread.judge.types import Layer
from rootread.measure.types import Readings
from rootread.settings import JudgeSettings

MEMBER_IN = 1.0
"""A diversion within this of the middle of a gathering belongs to the layer."""
USUAL_SPREAD_IN = 0.2
"""How far above a layer roots usually run, and how many roots that expectation counts for beside
those of the wall."""
USUAL_SPREAD_ROOTS = 3
SHAPE_SE_IN = 0.1
"""Roots do not lie on every layer with the same scatter."""
MATCH_FLOOR_IN = 0.5
"""A person reads the depth of a layer off a tape to about half an inch."""
MOST_LAYERS = 5


def find_layers(
    readings: Readings, recorded: Sequence[RecordedLayer], settings: JudgeSettings
) -> tuple[Layer, ...]:
    """Layers at which diversions gather more than chance would have it, from the top down.

    The strongest gathering is tested first; if it is no chance, it is taken
    as a layer, its events are set aside, and the rest is tested again. Set
    aside too are a gathering that lets most roots pass, for it restricts
    nothing, and one of level pieces that hardly a root leads down to, for
    those may be the edge of the pit floor.

    Parameters
    ----------
    recorded : layers of the field sheet, to be matched by depth.
    """
    rng = np.random.default_rng(settings.seed)
    centrelines = [root.trace.points for root in readings.roots]
    if not centrelines:
        return ()
    x_all = np.concatenate(centrelines)[:, 0]
    x_range = (float(x_all.min()), float(x_all.max()))
    events = list(diversions(readings.roots))
    layers = []
    for _ in range(MOST_LAYERS):
        gathering = strongest_gathering(events, centrelines, x_range, settings.permutations, rng)
        if gathering is None or gathering.p_value >= settings.layer_p_value:
            break
        members = _members(events, gathering)
        layer = _layer(readings, members, gathering.p_value, recorded)
        restricts = layer.turned >= FEWEST_EVENTS and 1.0 - layer.passage >= settings.layer_min_held
        if restricts and arrivals(readings.roots, place_of(layer)) >= FEWEST_EVENTS:
            layers.append(layer)
        events = [event for event in events if event not in members]
    return tuple(sorted(layers, key=lambda layer: layer.depth_in))


def _members(events: Sequence[Diversion], gathering: Gathering) -> list[Diversion]:
    """The events of a gathering, and those at the same depth near beside it."""
    inside = [
        event
        for event in events
        if gathering.z_from_in <= event.depth_in <= gathering.z_to_in
        and gathering.x_from_in - 1e-6 <= event.x_in <= gathering.x_to_in + 1e-6
    ]
    middle_in = float(np.median([event.depth_in for event in inside]))
    return [event for event in events if abs(event.depth_in - middle_in) <= MEMBER_IN]


def layer_depth(depths_in: NDArray[np.float64]) -> tuple[float, float]:
    """Depth of the layer under roots that ran at ``depths_in``, and its standard error.

    Roots run on a layer or in the looser soil above it, not in it: the farther
    above, the fewer. With an exponential scatter upward the layer lies one
    standard deviation under the mean, ``layer = mean + sd``. For the same
    scatter that estimate has variance ``sd^2 / n``, because where the mean errs
    upward the sd errs wide. The sd of a few roots is steadied by the usual
    spread, and the scatter's true shape adds its own error.
    """
    count = len(depths_in)
    mean = float(depths_in.mean())
    squares = float(((depths_in - mean) ** 2).sum()) + USUAL_SPREAD_ROOTS * USUAL_SPREAD_IN**2
    freedom = count - 1 + USUAL_SPREAD_ROOTS
    sd = float(np.sqrt(squares / freedom))
    return mean + sd, float(np.hypot(sd / np.sqrt(count), SHAPE_SE_IN))


def _layer(
    readings: Readings, members: Sequence[Diversion], p_value: float, recorded: Sequence[RecordedLayer]
) -> Layer:
    depth_in, spread_se_in = layer_depth(np.array([member.depth_in for member in members]))
    se_in = float(np.hypot(spread_se_in, readings.errors.depth_se_in(depth_in)))
    place = LayerPlace(depth_in, min(m.x_from_in for m in members), max(m.x_to_in for m in members))
    became = list(outcomes(readings.roots, place, {member.root for member in members}).values())
    return Layer(
        depth_in=depth_in,
        depth_se_in=se_in,
        x_from_in=place.x_from_in,
        x_to_in=place.x_to_in,
        reached=len(became),
        crossed=became.count("crossed"),
        turned=became.count("turned"),
        stopped=became.count("stopped"),
        sideways_in=sum(member.sideways_in for member in members),
        p_value=p_value,
        recorded=recorded_match(depth_in, se_in, recorded),
    )


def recorded_match(depth_in: float, se_in: float, recorded: Sequence[RecordedLayer]) -> str | None:
    """Name of the nearest recorded layer within the joint uncertainty, as the sheet writes it."""
    within = 2.0 * float(np.hypot(se_in, MATCH_FLOOR_IN))
    near = [layer for layer in recorded if abs(layer.depth_in - depth_in) <= within]
    return min(near, key=lambda layer: abs(layer.depth_in - depth_in)).name if near else None

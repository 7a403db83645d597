"""Restricting layers: where along the wall, and how deep, roots were turned, stopped or squeezed together."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.fieldsheet import RecordedLayer
from rootread.judge.diversions import diversions
from rootread.judge.gathering import Band, band_of
from rootread.judge.passage import LayerPlace, arrivals, outcomes, place_of
from rootread.judge.recorded import with_recorded
from rootread.judge.scan import FEWEST_EVENTS, strongest_gathering
from rootread.judge.shape import LayerLine, fit_line, mean_depth, step_line
from rootread.judge.signs import Sign, signs_of
from rootread.judge.types import Layer
from rootread.measure.types import Readings
from rootread.settings import JudgeSettings

USUAL_SPREAD_IN = 0.2
"""How far above a layer roots usually run, and how many roots that expectation counts for beside
those of the wall."""
USUAL_SPREAD_ROOTS = 3
DEEPER_IN = 0.5
"""A root that ran so much deeper than the middle one ran on something else: on a layer roots run above it."""
SHAPE_SE_IN = 0.1
"""Roots do not lie on every layer with the same scatter."""
MOST_LAYERS = 5
MOST_STEP_IN = 5.0
"""Two layers farther apart than this are two, even if one ends where the other begins."""
STEP_P_VALUE = 0.01
"""Each side of a step must be as sure as this, lest a gathering by chance draws a layer to its depth."""
DIVERTED_SHARE = 0.8
"""Of the chance to err: most of it is spent on roots that were diverted, which say most surely that
something restricts them; the rest on stops and changes of width beside."""
FEWEST_RIGHT = FEWEST_EVENTS / 2
"""Of the roots that show a layer, so many at least must be expected to be right."""
RUN_BELIEVED_FROM = 0.2
"""Of the sideways runs of traces this sure or surer 97 % lie on roots that run there, however sure the trace:
what is wrong with a doubtful one is where it joined roots. Of less sure ones there are too few to tell."""
LEAST_RUN_IN = 0.75
"""Half of the shortest sideways run. Where fewer than half of the roots turned, those that did must have
run by so much, in the mean; some wriggling roots turn level for a moment anywhere."""
OVERLAP_IN = 2.0
"""The two sides of a step may overlap by so much: roots run out over the edge."""


@dataclass(frozen=True, eq=False)
class _Found:
    """The signs of one layer, and how sure it is that they are no chance."""

    members: tuple[Sign, ...]
    p_value: float
    bands: tuple[Band, ...]
    """Where its signs lie; two where it has a step."""

    @property
    def reach_in(self) -> tuple[float, float]:
        return min(m.x_from_in for m in self.members), max(m.x_to_in for m in self.members)

    @property
    def depth_in(self) -> float:
        return float(np.median([member.depth_in for member in self.members]))


def find_layers(
    readings: Readings, recorded: Sequence[RecordedLayer], settings: JudgeSettings
) -> tuple[Layer, ...]:
    """Layers at which the signs gather more than chance would have it, from the top down.

    Diverted roots are looked at first, then what is left of them together with
    roots that stopped or were squeezed wide. The strongest gathering is tested
    first; if it is no chance, it is taken as a layer, its signs are set aside,
    and the rest is tested again. Set aside too are a gathering that lets most
    roots pass, for it restricts nothing; one of level pieces that hardly a
    root leads down to, for those may be the edge of the pit floor; and one
    whose traces are most likely no roots. Two layers of which one ends where
    the other begins are one layer with a step, if both are sure.

    Parameters
    ----------
    recorded : layers of the field sheet, to be matched by depth.
    """
    rng = np.random.default_rng(settings.seed)
    if not readings.roots:
        return ()
    every = list(signs_of(readings.roots, diversions(readings.roots), readings.counted_width_in))
    diverted = [sign for sign in every if sign.kind == "diverted"]
    found = _gatherings(diverted, DIVERTED_SHARE, readings, settings, rng)
    taken = [band for one in found for band in one.bands]
    left = [sign for sign in every if not any(band.holds(sign) for band in taken)]
    if any(sign.kind != "diverted" for sign in left):
        found += _gatherings(left, 1.0 - DIVERTED_SHARE, readings, settings, rng, taken)
    layers = [_layer(readings, one, step) for one, step in _steps_joined(found)]
    return with_recorded(sorted(layers, key=lambda layer: layer.depth_in), recorded)


def _gatherings(
    signs: list[Sign],
    share: float,
    readings: Readings,
    settings: JudgeSettings,
    rng: np.random.Generator,
    taken: Sequence[Band] = (),
) -> list[_Found]:
    """Gatherings of signs that restrict roots, the strongest first.

    ``share`` of the chance to err is spent here: p values are raised by it, so that all searches
    together call no more than ``layer_p_value`` of open walls layered. ``signs`` has none of those in
    the bands ``taken``.
    """
    set_aside = list(taken)
    centrelines = [root.trace.points for root in readings.roots]
    x_all = np.concatenate(centrelines)[:, 0]
    x_range = (float(x_all.min()), float(x_all.max()))
    found: list[_Found] = []
    decided_at = settings.layer_p_value * share
    for _ in range(MOST_LAYERS):
        own = [sign for sign in signs if sign.own]
        gathering = strongest_gathering(
            own, centrelines, x_range, settings.permutations, rng, set_aside, decided_at
        )
        if gathering is None or gathering.p_value >= decided_at:
            break
        band = band_of(own, gathering)
        members = [sign for sign in signs if band.holds(sign)]
        candidate = _Found(tuple(members), gathering.p_value / share, (band,))
        if _believed(candidate, readings) and _restricts(_layer(readings, candidate), readings, settings):
            found.append(candidate)
        signs = [sign for sign in signs if not band.holds(sign)]
        set_aside.append(band)
    return found


def _believed(found: _Found, readings: Readings) -> bool:
    """Whether roots show it: three bits of straw, or places where traces go wrong, may gather too.

    Where a trace turns or ends it may only be lost or joined wrong, the more likely the less it is to be
    trusted. A run lies on a root whichever root it was joined to.
    """
    ran = {member.root for member in found.members if member.sideways_in > 0}
    sure = {root: readings.roots[root].trace.confidence for root in {m.root for m in found.members if m.own}}
    right = [1.0 if root in ran and c >= RUN_BELIEVED_FROM else c for root, c in sure.items()]
    return sum(right) >= FEWEST_RIGHT


def _restricts(layer: Layer, readings: Readings, settings: JudgeSettings) -> bool:
    """Whether roots came down to it and it held enough of them, by turning most or making them run along it.

    A depth at which roots only end, and hardly one turns or is seen below, may
    be where the face or the photo ends.
    """
    if layer.turned + min(layer.stopped, layer.crossed) < FEWEST_EVENTS:
        return False
    few_turned = FEWEST_EVENTS <= layer.turned < layer.reached / 2
    if few_turned and layer.sideways_in < LEAST_RUN_IN * layer.turned:
        return False
    holds = 1.0 - layer.passage >= settings.layer_min_held
    return holds and arrivals(readings.roots, place_of(layer)) >= FEWEST_EVENTS


def _steps_joined(found: Sequence[_Found]) -> list[tuple[_Found, float | None]]:
    """Layers with the x of their step, if two were one."""
    left = sorted(found, key=lambda one: one.reach_in)
    joined: list[tuple[_Found, float | None]] = []
    while left:
        first = left.pop(0)
        beside = [
            other
            for other in left
            if max(first.p_value, other.p_value) < STEP_P_VALUE
            and first.reach_in[1] - OVERLAP_IN <= other.reach_in[0]
            and abs(other.depth_in - first.depth_in) <= MOST_STEP_IN
        ]
        if not beside:
            joined.append((first, None))
            continue
        second = beside[0]
        left.remove(second)
        at_in = (first.reach_in[1] + second.reach_in[0]) / 2
        members, bands = first.members + second.members, first.bands + second.bands
        joined.append((_Found(members, max(first.p_value, second.p_value), bands), at_in))
    return joined


def layer_depth(depths_in: NDArray[np.float64]) -> tuple[float, float]:
    """Depth of the layer under roots that ran at ``depths_in``, and its standard error.

    Roots run on a layer or in the looser soil above it, not in it: the farther
    above, the fewer. With an exponential scatter upward the layer lies one
    standard deviation under the mean, ``layer = mean + sd``. For the same
    scatter that estimate has variance ``sd^2 / n``, because where the mean errs
    upward the sd errs wide. The sd of a few roots is steadied by the usual
    spread, and the scatter's true shape adds its own error. A root that ran
    well below most of them did not run on this layer and tells nothing of it.
    """
    depths_in = depths_in[depths_in <= np.median(depths_in) + DEEPER_IN]
    count = len(depths_in)
    mean = float(depths_in.mean())
    squares = float(((depths_in - mean) ** 2).sum()) + USUAL_SPREAD_ROOTS * USUAL_SPREAD_IN**2
    freedom = count - 1 + USUAL_SPREAD_ROOTS
    sd = float(np.sqrt(squares / freedom))
    return mean + sd, float(np.hypot(sd / np.sqrt(count), SHAPE_SE_IN))


def _layer(readings: Readings, found: _Found, step_at_in: float | None = None) -> Layer:
    shown = [member for member in found.members if member.kind != "widened"]
    # Where a width changed says that something squeezed the root, not how deep that lies.
    shown = shown if len(shown) >= FEWEST_EVENTS else list(found.members)
    x = np.array([member.middle_x_in for member in shown])
    depths = np.array([member.depth_in for member in shown])
    x_from_in, x_to_in = found.reach_in
    line = _line(x, depths, (x_from_in, x_to_in), step_at_in)
    # Each root is brought to the middle of the layer, along the line, to tell its depth and how sure it is.
    mean_in = mean_depth(np.array(line.line_in))
    depth_in, spread_se_in = layer_depth(depths - line.depth_at(x) + mean_in)
    se_in = float(np.hypot(spread_se_in, readings.errors.depth_se_in(depth_in)))
    lowered = _lowered(line, depth_in - mean_in) if line.shape != "level" else None
    place = LayerPlace(depth_in, x_from_in, x_to_in, lowered)
    diverted = {member.root for member in found.members if member.kind == "diverted"}
    became = list(outcomes(readings.roots, place, diverted).values())
    return Layer(
        depth_in=depth_in,
        depth_se_in=se_in,
        x_from_in=x_from_in,
        x_to_in=x_to_in,
        reached=len(became),
        crossed=became.count("crossed"),
        turned=became.count("turned"),
        stopped=became.count("stopped"),
        sideways_in=sum(member.sideways_in for member in found.members),
        p_value=found.p_value,
        recorded=None,
        fitted=lowered,
    )


def _line(
    x_in: NDArray[np.float64],
    depths_in: NDArray[np.float64],
    reach_in: tuple[float, float],
    step_at_in: float | None,
) -> LayerLine:
    fitted = fit_line(x_in, depths_in, *reach_in)
    if step_at_in is None:
        return fitted
    left, right = depths_in[x_in <= step_at_in], depths_in[x_in > step_at_in]
    if not len(left) or not len(right):
        return fitted
    return step_line(float(left.mean()), float(right.mean()), step_at_in, fitted)


def _lowered(line: LayerLine, by_in: float) -> LayerLine:
    return LayerLine(line.shape, tuple((x, z + by_in) for x, z in line.line_in))

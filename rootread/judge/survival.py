"""Passage against depth: the share of roots that get down without being turned or stopped.

The product-limit estimate of Kaplan and Meier (J. American Statistical
Association 53:457-481, 1958; from memory), with depth in the place of time.
A root is at risk at the depths where it was seen, so a piece of a root that
begins in mid-wall enters late and one that ends, is cut by the photo's edge
or is lost leaves early, and neither biases the curve.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.judge.diversions import SAME_EVENT_IN, Diversion, diversions
from rootread.judge.passage import outcomes, place_of
from rootread.judge.types import Layer
from rootread.measure.types import Readings, RootReading

DEPTH_STEP_IN = 0.2
FEWEST_AT_RISK = 4.0
"""Where fewer roots than this are left, one root turned counts as one of so many, not as all of them."""


@dataclass(frozen=True, eq=False)
class RiskTable:
    """Who was at risk and who was held, root by root and depth by depth."""

    at_risk: NDArray[np.float64]
    """``(R, D)`` 1 where the root was seen at the depth and not already lying on a layer."""
    held: NDArray[np.float64]
    """``(R, D)`` 1 where the root was turned, or stopped at a layer."""
    x_in: NDArray[np.float64]
    """``(R, D)`` where along the wall the root is at that depth."""

    def sums(
        self, weight: NDArray[np.float64], here: NDArray[np.bool_] | None = None
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """``(B, D)`` how many roots are held and how many are at risk; of those in one part, if it is said.

        Parameters
        ----------
        weight : ``(B, R)`` how much each root counts in each of B draws.
        here : ``(R, D)`` whether each root is in that part at each depth.
        """
        inside = 1.0 if here is None else here
        return weight @ (self.held * inside), weight @ (self.at_risk * inside)


def wall_risk(readings: Readings, layers: Sequence[Layer]) -> RiskTable:
    """Who was held on this wall: roots seen to turn, and roots that ran or stopped at a layer.

    A level piece away from all layers, not seen to come down and turn, may be
    a lateral that left its parent level; it is not counted.
    """
    places = [place_of(layer) for layer in layers]
    events = [
        event
        for event in diversions(readings.roots)
        if event.turned or any(place.holds(event.x_in, event.depth_in) for place in places)
    ]
    stops = []
    for place in places:
        became = outcomes(
            readings.roots,
            place,
            {event.root for event in events if place.holds(event.x_in, event.depth_in)},
        )
        held = [root for root, outcome in became.items() if outcome == "stopped"]
        stops += [(root, float(readings.roots[root].trace.points[:, 1].max())) for root in held]
    return risk_table(readings.roots, events, stops)


def risk_table(
    roots: Sequence[RootReading], events: Sequence[Diversion], stops_in: Sequence[tuple[int, float]]
) -> RiskTable:
    """Fill the table.

    Parameters
    ----------
    events : diversions of the roots.
    stops_in : (root index, depth) of the roots that stopped at a layer.

    A root is at risk down to where it was held. One that was turned is then
    out of risk until it has left the layer, so that it cannot both lie on a
    layer and pass it. If it drops through further along it is at risk again
    below.
    """
    deepest = max(float(root.trace.points[:, 1].max()) for root in roots)
    depth_in = np.arange(0.0, max(deepest, 0.0) + DEPTH_STEP_IN, DEPTH_STEP_IN)
    at_risk = np.zeros((len(roots), len(depth_in)))
    x_in = np.zeros_like(at_risk)
    for index, root in enumerate(roots):
        x, z = root.trace.points.T
        at_risk[index] = (depth_in >= z.min()) & (depth_in <= z.max())
        rising = np.argsort(z, kind="stable")
        x_in[index] = np.interp(depth_in, z[rising], x[rising])
    held = np.zeros_like(at_risk)
    halts = sorted([(event.root, event.depth_in) for event in events] + list(stops_in), key=lambda h: h[1])
    for index, at_in in halts:
        step = int(np.clip(round(at_in / DEPTH_STEP_IN), 0, len(depth_in) - 1))
        lying = (depth_in > at_in) & (depth_in <= at_in + SAME_EVENT_IN)
        at_risk[index, lying] = 0.0
        at_risk[index, step] = held[index, step] = 1.0
    return RiskTable(at_risk, held, x_in)


def passing_share(table: RiskTable, weight: NDArray[np.float64]) -> NDArray[np.float64]:
    """Share still going down freely at each depth.

    Parameters
    ----------
    weight : ``(B, R)`` how much each root counts in each of B draws.

    Returns
    -------
    ``(B, D)``; the product over depths of ``1 - held / at risk``.
    """
    return _survived(_hazard(table, weight))


def passing_share_within(
    table: RiskTable, here: NDArray[np.bool_], weight: NDArray[np.float64]
) -> NDArray[np.float64]:
    """``(B, D)`` share of the roots in a part of the wall that still go down freely at each depth.

    Where fewer than ``FEWEST_AT_RISK`` of them are left, others that do there as the roots of the whole wall
    do make up their number: one root alone says little of its place.

    Parameters
    ----------
    here : ``(R, D)`` whether each root is in that part at each depth.
    weight : ``(B, R)`` how much each root counts in each of B draws.
    """
    held, at_risk = table.sums(weight, here)
    others = np.maximum(FEWEST_AT_RISK - at_risk, 0.0)
    return _survived((held + others * _hazard(table, weight)) / (at_risk + others))


def passing_shares_by_zone(
    table: RiskTable, zone_at_depth: NDArray[np.intp], zones: int, weight: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Share that gets down each zone of the wall, all the way.

    A zone has few roots at most depths, so a few more are added that do there
    as the roots of the whole wall do: where a zone tells little, it is taken
    to be like the rest. Always as many, unlike ``passing_share_within``, which
    shows what a part's own roots did: the grade asks which zone is worst, and
    the worst of several is too easily one of few roots.

    Parameters
    ----------
    zone_at_depth : ``(R, D)`` zone in which each root is at each depth.
    weight : ``(B, R)`` how much each root counts in each of B draws.

    Returns
    -------
    ``(B, zones)``.
    """
    usual = FEWEST_AT_RISK * _hazard(table, weight)
    passed = []
    for zone in range(zones):
        held, at_risk = table.sums(weight, zone_at_depth == zone)
        passed.append(_survived((held + usual) / (at_risk + FEWEST_AT_RISK))[:, -1])
    return np.stack(passed, axis=1)


def _hazard(table: RiskTable, weight: NDArray[np.float64]) -> NDArray[np.float64]:
    """``(B, D)`` share of the whole wall's roots that is held at each depth."""
    held, at_risk = table.sums(weight)
    return np.minimum(held / np.maximum(at_risk, FEWEST_AT_RISK), 1.0)


def _survived(hazard: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.cumprod(1.0 - np.minimum(hazard, 1.0), axis=1), dtype=np.float64)

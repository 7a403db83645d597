"""What it costs, as a negative log-likelihood, that a root starts or stops at an end.

Main roots grow from the crown near the surface and are thick there; laterals
start thin, on the side of a thicker root; roots taper to their tips; the edge
of the photo and the scale object cut roots anywhere.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from rootread.follow.ends import Ends
from rootread.follow.shown import Shown
from rootread.follow.types import RootGraph
from rootread.plane.types import Surface

CROWN_DEPTH_IN = 1.6
"""Down to about this depth below the surface, roots start from crowns."""
CROWN_COST = 1.96
"""Cost of a start there."""
CUT_COST = 1.0
"""Cost of a start or stop where the visible soil ends."""
HOST_REACH_IN = 0.08
"""A lateral's base shows no farther than this from its parent's flank."""
HOST_NEIGHBOURS = 60
"""Centreline points looked at around a free end to find its host."""
CUT_REACH_IN = 0.25
"""An end nearer than this to the edge of the visible soil is cut by it."""


@dataclass(frozen=True, eq=False)
class EndCosts:
    """Cost of a base and of a tip at each end, ``(E,)``."""

    start: NDArray[np.float64]
    stop: NDArray[np.float64]
    cut: NDArray[np.bool_]
    """True where the edge of the visible soil ends the root."""


def end_costs(graph: RootGraph, ends: Ends, soil: Shown, surface: Surface) -> EndCosts:
    """Costs of starting and stopping at every end."""
    place_in = graph.grid.to_in(ends.place_px)
    depth_in = place_in[:, 1] - np.interp(place_in[:, 0], surface.line_in[:, 0], surface.line_in[:, 1])
    coarse = coarse_width_px(graph)
    width = (ends.width_px / coarse).clip(max=1.2)
    cut = _cut_ends(graph, ends, soil) & (depth_in > CROWN_DEPTH_IN)

    host = _host_width_px(graph, ends)
    # A bundle is wider than one root, so the parent counts as no wider than a coarse root.
    ratio = np.where(host > 0, ends.width_px / np.clip(host, 1.0, 1.3 * coarse), 1.2).clip(max=1.2)
    crown = np.exp(-((depth_in.clip(min=0) / CROWN_DEPTH_IN) ** 4))
    meets = (ends.node >= 0).astype(float)
    base = 2.05 + 0.8 * width + 1.47 * ratio + 0.3 * meets
    start = np.where(cut, CUT_COST, crown * CROWN_COST + (1 - crown) * base)
    tip = 2.7 + 2.04 * width + 0.56 * meets
    stop = np.where(cut, CUT_COST, tip)
    return EndCosts(start, stop, cut)


def _host_width_px(graph: RootGraph, ends: Ends) -> NDArray[np.float64]:
    """Width of the widest edge that each end meets or, where it is free, touches; 0 where none."""
    widest = np.zeros(len(graph.nodes_px) + 1)
    np.maximum.at(widest, ends.node, ends.width_px)
    host = np.where(ends.node >= 0, widest[ends.node], 0.0)
    points = np.concatenate([edge.points_px for edge in graph.edges])
    width = np.concatenate([edge.width_px for edge in graph.edges])
    owner = np.repeat(np.arange(len(graph.edges)), [len(edge.points_px) for edge in graph.edges])
    free = np.flatnonzero(ends.node < 0)
    reach_px = HOST_REACH_IN * graph.grid.px_per_in
    away, near = cKDTree(points).query(
        ends.place_px[free],
        k=min(HOST_NEIGHBOURS, len(points)),
        distance_upper_bound=reach_px + width.max() / 2,
    )
    known = np.isfinite(away)
    near = np.where(known, near, 0)
    touches = known & (owner[near] != free[:, None] // 2) & (away <= width[near] / 2 + reach_px)
    host[free] = np.where(touches, width[near], 0.0).max(axis=1)
    return host


def coarse_width_px(graph: RootGraph) -> float:
    """Width that a quarter of the root length exceeds: what a coarse root of this wall measures."""
    widths = np.concatenate([edge.width_px for edge in graph.edges])
    return float(np.percentile(widths, 75))


def _cut_ends(graph: RootGraph, ends: Ends, soil: Shown) -> NDArray[np.bool_]:
    """Free ends that lie at the edge of the visible soil."""
    return at_soil_edge(ends, soil, graph.grid.px_per_in) & (ends.node < 0)


def at_soil_edge(ends: Ends, soil: Shown, px_per_in: float) -> NDArray[np.bool_]:
    """``(E,)`` True where an end lies at the edge of the visible soil."""
    near: NDArray[np.bool_] = soil.depth_px(ends.place_px) < CUT_REACH_IN * px_per_in + ends.width_px
    return near

"""What speaks for each way a root may have grown: from a crown, or from the side of another root.

Either end of a root may be its base. For each end the roots are listed that it
may have left there, and what is seen of each possibility is put into numbers,
by which ``lineage`` chooses.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from rootread.follow.crowns import gathered_places
from rootread.geometry import Points, arc_length, resample_polyline
from rootread.plane.types import Surface

Values = NDArray[np.float64]
Indices = NDArray[np.int64]

MAIN, STRAY = -1, -2
"""In place of a parent: a root from the crown; a lateral whose parent is not seen."""
STEP_IN = 0.05
LEG_IN = 0.5
"""The first stretch of a root says which way it leaves."""
REACH_IN = 0.8
"""More of a lateral's first stretch than this hidden by soil or roots, and any parent would be a guess."""
ASIDE = 2.0
"""An inch aside of a root's own line, drawn back from its base, counts as much as two along it."""
MIDWAY = 0.05
"""Of places on a parent as easy to reach, the one nearest to its centreline is meant."""
CROWN_LENGTH_IN = 2.0
"""Shorter roots near the surface tell little of where crowns are."""
NEAR_CROWN_IN = 0.3
"""Roots of a crown start this far from its middle."""
LONG_IN, DEEP_IN = 3.0, 3.0
"""Beyond these, length and depth of the base tell more of main and lateral."""


@dataclass(frozen=True, eq=False)
class Kinship:
    """Possible origins of roots, a row each: the root, the end that would be its base, its parent."""

    root: Indices
    end: Indices
    """0 where the root's first point would be its base, 1 where its last."""
    parent: Indices
    """Index of another root, MAIN or STRAY."""
    features: dict[str, Values]
    """``(K,)`` values by name; 0 where one does not apply."""


@dataclass(frozen=True, eq=False)
class _Ends:
    """Both ends of every root in turn, ``(2R,)``, each as if the root had its base there."""

    place_in: Points
    leaves: Points
    """``(2R, 2)`` unit vectors into the root."""
    depth_in: Values
    fall: Values
    """How far the other end is below this one, as a share of the root's length."""
    length_in: Values
    width_in: Values


@dataclass(frozen=True, eq=False)
class _Sides:
    """Places along all roots, one after the other."""

    points: Points
    way: Points
    """``(N, 2)`` unit tangents towards the root's deeper end."""
    half_width_in: Values
    root: Indices


def possible_kinship(lines_in: Sequence[Points], widths_in: Sequence[Values], surface: Surface) -> Kinship:
    """Every possible origin of every root."""
    ends, sides = _measured(lines_in, widths_in, surface)
    every = np.arange(len(ends.depth_in))
    host_end, host_place, host_way = _hosts(ends, sides)
    kinds = {"main": every, "stray": every, "host": host_end}
    alone = {
        "main": {**_alone(ends), **_from_crown(ends, surface)},
        "stray": {name: value for name, value in _alone(ends).items() if name in STRAY_FEATURES},
        "host": _on_host(ends, sides, host_end, host_place, host_way),
    }
    end = np.concatenate(list(kinds.values()))
    kind = np.repeat(list(kinds), [len(rows) for rows in kinds.values()])
    features = {}
    for name, values in alone.items():
        for feature, value in values.items():
            features[f"{name}_{feature}"] = np.zeros(len(end))
            features[f"{name}_{feature}"][kind == name] = value
    for feature, value in _downward(ends).items():
        features[f"side_{feature}"] = np.where(kind == "main", 0.0, value[end])
    parent = np.concatenate([np.full(len(every), MAIN), np.full(len(every), STRAY), sides.root[host_place]])
    return Kinship(end // 2, end % 2, parent, features)


def _measured(
    lines_in: Sequence[Points], widths_in: Sequence[Values], surface: Surface
) -> tuple[_Ends, _Sides]:
    ends, sides = [], []
    for root, (line, line_width) in enumerate(zip(lines_in, widths_in, strict=True)):
        points, at = resample_polyline(line, STEP_IN)
        width = np.interp(at, arc_length(line), line_width)
        depth = points[[0, -1], 1] - np.interp(points[[0, -1], 0], *surface.line_in.T)
        length = max(float(at[-1]), STEP_IN)
        leg = min(max(round(LEG_IN / STEP_IN), 1), len(points) - 1)
        for here, on, there in ((0, leg, -1), (-1, -1 - leg, 0)):
            leaves = points[on] - points[here]
            fall = float(depth[there] - depth[here]) / length
            ends.append((points[here], _unit(leaves[None])[0], depth[here], fall, length, np.median(width)))
        down = 1.0 if depth[1] >= depth[0] else -1.0
        sides.append(
            (points, down * _unit(np.gradient(points, axis=0)), width / 2, np.full(len(points), root))
        )
    return _Ends(*map(np.array, zip(*ends, strict=True))), _Sides(
        *map(np.concatenate, zip(*sides, strict=True))
    )


def _unit(vectors: Points) -> Points:
    unit: Points = vectors / np.maximum(np.hypot(*vectors.T), 1e-9)[:, None]
    return unit


def _alone(ends: _Ends) -> dict[str, Values]:
    """What a root by itself says of being a main root, and a lateral of unseen parent."""
    depth = np.maximum(ends.depth_in, 0.0)
    usual = np.quantile(ends.width_in, 0.8)
    return {
        "always": np.ones(len(depth)),
        "log_depth": np.log1p(depth),
        "deep": np.maximum(ends.depth_in - DEEP_IN, 0.0) / 10,
        "rises": np.maximum(-ends.fall, 0.0),
        "leaves_down": ends.leaves[:, 1],
        "log_length": np.log(ends.length_in),
        "long": np.maximum(np.log(ends.length_in / LONG_IN), 0.0),
        "log_width": np.log(ends.width_in / usual),
    }


STRAY_FEATURES = ("always", "log_depth", "log_length")


def _downward(ends: _Ends) -> dict[str, Values]:
    """What says which end of a lateral is its base."""
    return {
        "fall": ends.fall,
        "rises": np.maximum(-ends.fall, 0.0),
        "near_surface": np.exp(-np.maximum(ends.depth_in, 0.0) / 1.5),
    }


def _from_crown(ends: _Ends, surface: Surface) -> dict[str, Values]:
    """How well a root, drawn back from its base, meets a crown; all 0 where none is seen."""
    upper = np.arange(0, len(ends.depth_in), 2) + (ends.depth_in[1::2] < ends.depth_in[0::2])
    upper = upper[ends.length_in[upper] > CROWN_LENGTH_IN]
    crowns_in, _ = gathered_places(ends.place_in[upper], ends.leaves[upper], ends.width_in[upper], surface)
    if not len(crowns_in):
        return {name: np.zeros(len(ends.depth_in)) for name in ("crown_away", "crown_miss", "on_line")}
    back = ends.place_in[:, None] - crowns_in[None]
    away = np.hypot(*np.moveaxis(back, -1, 0))
    ahead = np.maximum((back * ends.leaves[:, None]).sum(axis=2), 0)
    miss = np.sqrt(np.maximum(away**2 - ahead**2, 0))
    best = np.argmin(miss + 0.3 * away, axis=1)[:, None]
    away, miss = (np.take_along_axis(values, best, axis=1)[:, 0] for values in (away, miss))
    return {
        "crown_away": np.log(away + NEAR_CROWN_IN),
        "crown_miss": np.log(miss + NEAR_CROWN_IN),
        "on_line": np.exp(-miss - away / 4),
    }


def _hosts(ends: _Ends, sides: _Sides) -> tuple[Indices, Indices, Values]:
    """Pairs of an end and a place on another root that it may have left, easiest first for each end.

    The root is drawn back along its own line; the way to a place is how far
    along that line, and how far off it, the flank of the other root is.
    """
    far = np.arange(0.0, REACH_IN + STEP_IN / 2, STEP_IN)
    ray = (ends.place_in[:, None] - far[None, :, None] * ends.leaves[:, None]).reshape(-1, 2)
    reach = REACH_IN / ASIDE + float(sides.half_width_in.max())
    near = cKDTree(ray).sparse_distance_matrix(cKDTree(sides.points), reach, output_type="coo_matrix")
    end, place = near.row // len(far), near.col
    off = np.maximum(near.data - sides.half_width_in[place], 0.0)
    way = far[near.row % len(far)] + ASIDE * off + MIDWAY * near.data
    kept = (way <= REACH_IN) & (sides.root[place] != end // 2)
    end, place, way = end[kept], place[kept], way[kept]
    by_host = np.lexsort((place, way, sides.root[place], end))
    pair = (end * (sides.root.max() + 1) + sides.root[place])[by_host]
    best = by_host[np.flatnonzero(np.diff(pair, prepend=-1))]
    best = best[np.lexsort((sides.root[place[best]], way[best], end[best]))]
    return end[best], place[best], way[best]


def _on_host(ends: _Ends, sides: _Sides, end: Indices, place: Indices, way_in: Values) -> dict[str, Values]:
    """How a root leaves the one that may be its parent."""
    host = 2 * sides.root[place]
    cosine = (ends.leaves[end] * sides.way[place]).sum(axis=1)
    first_of_end = np.searchsorted(end, end)
    return {
        "way": way_in,
        "along": np.abs(cosine),
        "along_squared": cosine**2,
        "forward": cosine,
        "log_width": np.log(ends.width_in[host]),
        "length_ratio": np.log(ends.length_in[end] / ends.length_in[host]),
        "rank": np.minimum(np.arange(len(end)) - first_of_end, 3).astype(float),
    }

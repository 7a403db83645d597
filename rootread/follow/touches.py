"""Where chains really end, turn and touch: blunt ends, sharp corners, ends that run onto another root."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from rootread.follow.chains import Chain, sample, sample_each
from rootread.geometry import Points
from rootread.median import median_of

CORNER_DEG = 55.0
"""Chains are parted where they turn more sharply than this."""
BLUNT_END_PX = 60
"""A root's end is looked for no farther than this beyond the end of its skeleton."""
BLUNT_END_SHARE = 0.8
"""There the root is still this share of its usual radius."""
ATTACH_LEG_PX = 12
"""Length of the leg that says where a free end is heading."""
ATTACH_REACH_PX = 6.0
"""A free end reaches a root whose flank is this near."""
ATTACH_COSINE = 0.77
"""It runs onto that root at less than 40 degrees."""


def to_blunt_end(chain: Chain, radius: NDArray[np.float32]) -> Chain:
    """Let free ends go on straight while the root stays as wide.

    Thinning stops about a radius short of a blunt end, as a centreline should,
    but eats far into a root that runs at exactly 45 degrees.
    """
    points = chain.points
    for side in (0, 1):
        if chain.nodes[side] >= 0 or len(points) < ATTACH_LEG_PX:
            continue
        outward = points[::-1] if side == 0 else points
        heading = outward[-1] - outward[-ATTACH_LEG_PX]
        heading = heading / max(float(np.hypot(*heading)), 1e-9)
        ahead = outward[-1] + np.arange(1, BLUNT_END_PX + 1)[:, None] * heading
        full = sample(radius, ahead) > BLUNT_END_SHARE * median_of(sample(radius, outward))
        full &= ((ahead >= 0) & (ahead <= np.array(radius.shape[::-1]) - 1)).all(axis=1)
        outward = np.concatenate([outward, ahead[: int(np.argmin(np.append(full, False)))]])
        points = outward[::-1] if side == 0 else outward
    return Chain(points, chain.nodes)


def attach_ends(
    chains: list[Chain], centres: Points, node_radius: NDArray[np.float64], radius: NDArray[np.float32]
) -> tuple[list[Chain], Points, NDArray[np.float64]]:
    """Give free ends that run onto the side of another chain at a small angle a node there.

    A seam parts two roots until one of them goes beneath the other; from there
    on they share one chain.
    """
    points = np.concatenate([c.points for c in chains])
    owner = np.repeat(np.arange(len(chains)), [len(c.points) for c in chains])
    index = np.concatenate([np.arange(len(c.points)) for c in chains])
    half = sample(radius, points)
    tree = cKDTree(points)
    cuts: dict[int, list[tuple[int, int]]] = {}
    new_centres: list[Points] = []
    new_radius: list[float] = []
    for number, chain in enumerate(chains):
        for side in (0, 1):
            if chain.nodes[side] >= 0 or len(chain.points) < ATTACH_LEG_PX:
                continue
            inward = chain.points if side == 0 else chain.points[::-1]
            end = inward[0]
            heading = end - inward[ATTACH_LEG_PX - 1]
            heading = heading / max(float(np.hypot(*heading)), 1e-9)
            near = np.array(tree.query_ball_point(end, float(half.max()) + ATTACH_REACH_PX), dtype=int)
            near = near[owner[near] != number]
            away = np.hypot(*(points[near] - end).T)
            near, away = (
                near[away <= half[near] + ATTACH_REACH_PX],
                away[away <= half[near] + ATTACH_REACH_PX],
            )
            if len(near) == 0:
                continue
            host_point = int(near[np.argmin(away)])
            host = chains[int(owner[host_point])]
            at = int(index[host_point])
            along = host.points[min(at + 6, len(host.points) - 1)] - host.points[max(at - 6, 0)]
            slant = float(along @ heading) / max(float(np.hypot(*along)), 1e-9)
            if abs(slant) < ATTACH_COSINE:
                continue
            ahead = round(2 * float(away.min())) * (1 if slant > 0 else -1)
            at = at + ahead
            if not 8 < at < len(host.points) - 9:
                continue
            node = len(centres) + len(new_centres)
            cuts.setdefault(int(owner[host_point]), []).append((at, node))
            new_centres.append(host.points[at])
            new_radius.append(float(away.min()))
            chain.nodes[side] = node
    parted = []
    for number, chain in enumerate(chains):
        start, node = 0, chain.nodes[0]
        for at, cut_node in sorted(cuts.get(number, [])):
            if at - start >= 2:
                parted.append(Chain(chain.points[start : at + 1], [node, cut_node]))
                start, node = at, cut_node
        parted.append(Chain(chain.points[start:], [node, chain.nodes[1]]))
    return (
        parted,
        np.concatenate([centres.reshape(-1, 2), np.array(new_centres).reshape(-1, 2)]),
        np.concatenate([node_radius, np.array(new_radius)]),
    )


def split_corners(
    chains: list[Chain], centres: Points, node_radius: NDArray[np.float64], radius: NDArray[np.float32]
) -> tuple[list[Chain], Points, NDArray[np.float64]]:
    """Part chains at sharp corners, with a node there.

    A corner may be a root that turns at a layer, or the skeleton stepping from
    one root over to its neighbour; which, is decided with all other joins.
    """
    parted = []
    new_centres: list[Points] = []
    new_radius: list[float] = []
    for chain, half in zip(chains, sample_each(radius, [chain.points for chain in chains]), strict=True):
        corners = _corners(chain.points, 2 * median_of(half))
        first_new = len(centres) + len(new_centres)
        nodes = [chain.nodes[0], *range(first_new, first_new + len(corners)), chain.nodes[1]]
        new_centres.extend(chain.points[corners])
        new_radius.extend(half[corners])
        bounds = [0, *corners, len(chain.points) - 1]
        for k in range(len(bounds) - 1):
            parted.append(Chain(chain.points[bounds[k] : bounds[k + 1] + 1], [nodes[k], nodes[k + 1]]))
    return (
        parted,
        np.concatenate([centres.reshape(-1, 2), np.array(new_centres).reshape(-1, 2)]),
        np.concatenate([node_radius, np.array(new_radius)]),
    )


def _corners(points: Points, width: float) -> list[int]:
    """Where a pixel chain turns by more than CORNER_DEG within about a width, sharpest place each."""
    leg = max(round(0.8 * width), 5)
    if len(points) <= 2 * leg:
        return []
    back = points[leg:-leg] - points[: -2 * leg]
    on = points[2 * leg :] - points[leg:-leg]
    turn = np.abs(
        np.degrees(np.arctan2(back[:, 0] * on[:, 1] - back[:, 1] * on[:, 0], (back * on).sum(axis=1)))
    )
    corners = []
    while turn.max() > CORNER_DEG:
        sharpest = int(turn.argmax())
        corners.append(sharpest + leg)
        turn[max(sharpest - 2 * leg, 0) : sharpest + 2 * leg + 1] = 0
    return sorted(corners)

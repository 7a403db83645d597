"""The graph of a root mask: centrelines that meet at branchings and crossings."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, map_coordinates
from scipy.spatial import cKDTree

from rootread.find.types import RootMap
from rootread.follow.skeleton import skeleton_chains
from rootread.follow.strands import Strands, find_strands
from rootread.follow.types import GraphEdge, RootGraph
from rootread.geometry import Points
from rootread.plane.types import WallImage

SPUR_WIDTHS = 1.0
"""A side stub that ends nearer than this many local widths is the mask's edge, not a root."""
MERGE_WIDTHS = 0.5
"""Meetings nearer than this many local widths (that is, one radius) are one meeting."""
POINT_SMOOTHING_PX = 2.0
"""Pixel steps are off the true centreline by up to half a pixel; this takes them out."""


PASSING_COSINE = -0.17
"""Two arms at more than 100 degrees from each other go on from each other."""
RUNG_COSINE = 0.64
"""A root goes on where a chain leaves a node within 50 degrees of the direction it came to it."""
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
MIN_PIECE_IN = 0.1
"""Separate pieces shorter than this are left out."""


@dataclass
class _Chain:
    """An edge while the graph is being cleaned; ``nodes`` are -1 where free."""

    points: Points
    nodes: list[int]

    @property
    def length(self) -> float:
        steps = np.diff(self.points, axis=0)
        return float(np.hypot(steps[:, 0], steps[:, 1]).sum())


def build_graph(root_map: RootMap, image: WallImage) -> RootGraph:
    """Skeleton and graph of a root map.

    Parameters
    ----------
    root_map : the probability and mask of the find stage.
    image : the flat wall, whose shading shows where touching roots part.
    """
    return graph_of_strands(find_strands(root_map, image))


def graph_of_strands(strands: Strands) -> RootGraph:
    """The same from strands that are already parted."""
    radius = strands.radius_px
    found = skeleton_chains(strands.mask)
    node_radius = _sample(radius, found.centres_px)
    chains = [
        _Chain(_with_ends(chain, ends, found.centres_px), list(ends))
        for chain, ends in zip(found.chains, found.meetings, strict=True)
    ]
    if not chains:
        return RootGraph(np.empty((0, 2)), np.empty(0), (), strands.grid)
    centres = [tuple(c) for c in found.centres_px]
    chains = [_to_blunt_end(chain, radius) for chain in chains]
    chains = _prune_spurs(chains, node_radius)
    chains = _join_through(chains)
    chains, centre_array, node_radius = _merge_meetings(chains, np.array(centres).reshape(-1, 2), node_radius)
    chains = _join_through(_drop_rungs(_prune_spurs(chains, node_radius), node_radius))
    chains, centre_array, node_radius = _split_corners(chains, centre_array, node_radius, radius)
    chains = _drop_rungs(chains, node_radius)
    chains, centre_array, node_radius = _attach_ends(chains, centre_array, node_radius, radius)
    min_piece_px = MIN_PIECE_IN * strands.grid.px_per_in
    chains = [c for c in chains if max(c.nodes) >= 0 or c.length >= min_piece_px]
    used = sorted({n for c in chains for n in c.nodes if n >= 0})
    renamed = {old: new for new, old in enumerate(used)} | {-1: -1}
    edges = []
    for chain in chains:
        points = _smooth(chain.points)
        edges.append(
            GraphEdge(
                points_px=points,
                width_px=2 * _sample(radius, points),
                probability=_sample(strands.probability, points),
                nodes=(renamed[chain.nodes[0]], renamed[chain.nodes[1]]),
            )
        )
    return RootGraph(centre_array[used], node_radius[used], tuple(edges), strands.grid)


def _to_blunt_end(chain: _Chain, radius: NDArray[np.float32]) -> _Chain:
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
        full = _sample(radius, ahead) > BLUNT_END_SHARE * float(np.median(_sample(radius, outward)))
        full &= ((ahead >= 0) & (ahead <= np.array(radius.shape[::-1]) - 1)).all(axis=1)
        outward = np.concatenate([outward, ahead[: int(np.argmin(np.append(full, False)))]])
        points = outward[::-1] if side == 0 else outward
    return _Chain(points, chain.nodes)


def _with_ends(chain: NDArray[np.int64], ends: tuple[int, int], centres: Points) -> Points:
    parts = [chain.astype(float)]
    if ends[0] >= 0:
        parts.insert(0, centres[ends[0]][None])
    if ends[1] >= 0:
        parts.append(centres[ends[1]][None])
    return np.concatenate(parts)


def _prune_spurs(chains: list[_Chain], node_radius: NDArray[np.float64]) -> list[_Chain]:
    """Leave out side stubs that hardly leave the root they sit on.

    Where roots run into each other at a sharp angle and stop soon after, the
    stub is the place they share, and stays; so does the longest of the stubs at
    a root's blunt end.
    """
    stubs: dict[int, list[_Chain]] = {}
    others: dict[int, list[_Chain]] = {}
    for chain in chains:
        node = max(chain.nodes)
        is_side = min(chain.nodes) < 0 <= node
        if is_side and chain.length < 2 * node_radius[node] * SPUR_WIDTHS + 1.5:
            stubs.setdefault(node, []).append(chain)
        else:
            for node in chain.nodes:
                others.setdefault(node, []).append(chain)
    dropped: set[int] = set()
    for node, at_node in stubs.items():
        at_node.sort(key=lambda c: -c.length)
        keep = 0 if _passes_through(others.get(node, []), node, node_radius[node]) else 1
        dropped.update(id(c) for c in at_node[keep:])
    return [c for c in chains if id(c) not in dropped]


def _passes_through(at_node: list[_Chain], node: int, radius: float) -> bool:
    """Whether two of the chains at a node go on from each other."""
    outward = [v for chain in at_node for v in _outward(chain, node, radius)]
    return any(u @ v < PASSING_COSINE for i, u in enumerate(outward) for v in outward[i + 1 :])


def _outward(chain: _Chain, node: int, radius: float) -> list[Points]:
    """Direction in which a chain leaves a node; two, if it comes back to it."""
    found = []
    for side in (0, 1):
        if chain.nodes[side] == node:
            points = chain.points if side == 0 else chain.points[::-1]
            leg = points[min(int(2 * radius + 8), len(points) - 1)] - points[0]
            found.append(leg / max(float(np.hypot(*leg)), 1e-9))
    return found


def _drop_rungs(chains: list[_Chain], node_radius: NDArray[np.float64]) -> list[_Chain]:
    """Leave out short links across two roots that lie side by side.

    Where the seam between two roots is broken, a link as short as the roots
    are wide crosses it. No root goes on from it at either end.
    """
    at_node: dict[int, list[_Chain]] = {}
    for chain in chains:
        for node in chain.nodes:
            if node >= 0:
                at_node.setdefault(node, []).append(chain)
    kept = []
    for chain in chains:
        a, b = chain.nodes
        short = a >= 0 and b >= 0 and a != b and chain.length <= 2 * (node_radius[a] + node_radius[b]) + 4
        if short:
            along = chain.points[-1] - chain.points[0]
            along = along / max(float(np.hypot(*along)), 1e-9)
            goes_on = _goes_on(at_node[a], chain, a, node_radius[a], -along)
            if not goes_on and not _goes_on(at_node[b], chain, b, node_radius[b], along):
                continue
        kept.append(chain)
    return kept


def _goes_on(at_node: list[_Chain], rung: _Chain, node: int, radius: float, heading: Points) -> bool:
    """Whether a chain leaves the node in about the direction in which a rung comes to it."""
    return any(v @ heading > RUNG_COSINE for c in at_node if c is not rung for v in _outward(c, node, radius))


def _split_corners(
    chains: list[_Chain], centres: Points, node_radius: NDArray[np.float64], radius: NDArray[np.float32]
) -> tuple[list[_Chain], Points, NDArray[np.float64]]:
    """Part chains at sharp corners, with a node there.

    A corner may be a root that turns at a layer, or the skeleton stepping from
    one root over to its neighbour; which, is decided with all other joins.
    """
    parted = []
    new_centres: list[Points] = []
    new_radius: list[float] = []
    for chain in chains:
        corners = _corners(chain.points, 2 * float(np.median(_sample(radius, chain.points))))
        first_new = len(centres) + len(new_centres)
        nodes = [chain.nodes[0], *range(first_new, first_new + len(corners)), chain.nodes[1]]
        new_centres.extend(chain.points[corners])
        new_radius.extend(_sample(radius, chain.points[corners]))
        bounds = [0, *corners, len(chain.points) - 1]
        for k in range(len(bounds) - 1):
            parted.append(_Chain(chain.points[bounds[k] : bounds[k + 1] + 1], [nodes[k], nodes[k + 1]]))
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


def _attach_ends(
    chains: list[_Chain], centres: Points, node_radius: NDArray[np.float64], radius: NDArray[np.float32]
) -> tuple[list[_Chain], Points, NDArray[np.float64]]:
    """Give free ends that run onto the side of another chain at a small angle a node there.

    A seam parts two roots until one of them goes beneath the other; from there
    on they share one chain.
    """
    points = np.concatenate([c.points for c in chains])
    owner = np.repeat(np.arange(len(chains)), [len(c.points) for c in chains])
    index = np.concatenate([np.arange(len(c.points)) for c in chains])
    half = _sample(radius, points)
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
                parted.append(_Chain(chain.points[start : at + 1], [node, cut_node]))
                start, node = at, cut_node
        parted.append(_Chain(chain.points[start:], [node, chain.nodes[1]]))
    return (
        parted,
        np.concatenate([centres.reshape(-1, 2), np.array(new_centres).reshape(-1, 2)]),
        np.concatenate([node_radius, np.array(new_radius)]),
    )


def _join_through(chains: list[_Chain]) -> list[_Chain]:
    """Make one chain of two that are alone at a node."""
    at_node: dict[int, list[_Chain]] = {}
    for chain in chains:
        for node in chain.nodes:
            if node >= 0:
                at_node.setdefault(node, []).append(chain)
    alive = {id(chain): chain for chain in chains}
    for node, meeting in at_node.items():
        if len(meeting) == 1:
            meeting[0].nodes[meeting[0].nodes.index(node)] = -1
        elif len(meeting) == 2 and meeting[0] is not meeting[1] and _passes_through(meeting, node, 4.0):
            one, two = meeting
            _flip(one, one.nodes[1] != node)
            _flip(two, two.nodes[0] != node)
            one.points = np.concatenate([one.points, two.points[1:]])
            one.nodes[1] = two.nodes[1]
            if two.nodes[1] >= 0:
                others = at_node[two.nodes[1]]
                others[next(k for k, c in enumerate(others) if c is two)] = one
            del alive[id(two)]
    return list(alive.values())


def _flip(chain: _Chain, wanted: bool) -> None:
    if wanted:
        chain.points = chain.points[::-1]
        chain.nodes.reverse()


def _merge_meetings(
    chains: list[_Chain], centres: Points, node_radius: NDArray[np.float64]
) -> tuple[list[_Chain], Points, NDArray[np.float64]]:
    """Make one meeting of those nearer to each other than the local radius."""
    leader = list(range(len(centres)))

    def find(node: int) -> int:
        while leader[node] != node:
            node = leader[node]
        return node

    kept = []
    for chain in chains:
        a, b = chain.nodes
        if a >= 0 and b >= 0 and a != b:
            near = 2 * MERGE_WIDTHS * max(node_radius[a], node_radius[b]) + 1.0
            if chain.length <= near:
                leader[find(a)] = find(b)
                continue
        kept.append(chain)
    group = np.array([find(node) for node in range(len(centres))], dtype=int)
    merged = centres.copy()
    reach = node_radius.copy()
    for head in np.unique(group):
        members = np.flatnonzero(group == head)
        merged[head] = centres[members].mean(axis=0)
        away = np.hypot(*(centres[members] - merged[head]).T)
        reach[head] = (away + node_radius[members]).max()
    for chain in kept:
        for side, node in enumerate(chain.nodes):
            if node >= 0:
                chain.nodes[side] = int(group[node])
    kept = [c for c in kept if c.nodes[0] != c.nodes[1] or c.nodes[0] < 0 or c.length > 4 * reach[c.nodes[0]]]
    return kept, merged, reach


def _smooth(points: Points) -> Points:
    """Take the pixel steps out of a chain, its end points kept."""
    if len(points) < 4:
        return points
    # Odd reflection at the ends keeps them in place and does not shorten the chain.
    pad = min(len(points) - 1, 8)
    head = 2 * points[0] - points[pad:0:-1]
    tail = 2 * points[-1] - points[-2 : -pad - 2 : -1]
    padded = np.concatenate([head, points, tail])
    return gaussian_filter1d(padded, POINT_SMOOTHING_PX, axis=0, mode="nearest")[pad : pad + len(points)]


def _sample(image: NDArray[np.float32], points: Points) -> NDArray[np.float64]:
    """Bilinear values of an image at ``(N, 2)`` column-row places."""
    if len(points) == 0:
        return np.zeros(0)
    return map_coordinates(image, points[:, ::-1].T, order=1, mode="nearest").astype(float)

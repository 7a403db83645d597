"""Takes from the chains what is the skeleton's doing and no root: spurs, rungs, meetings split in two."""

import numpy as np
from numpy.typing import NDArray

from rootread.follow.chains import Chain
from rootread.geometry import Points

SPUR_WIDTHS = 1.0
"""A side stub that ends nearer than this many local widths is the mask's edge, not a root."""
MERGE_WIDTHS = 0.5
"""Meetings nearer than this many local widths (that is, one radius) are one meeting."""
PASSING_COSINE = -0.17
"""Two arms at more than 100 degrees from each other go on from each other."""
RUNG_COSINE = 0.64
"""A root goes on where a chain leaves a node within 50 degrees of the direction it came to it."""


def prune_spurs(chains: list[Chain], node_radius: NDArray[np.float64]) -> list[Chain]:
    """Leave out side stubs that hardly leave the root they sit on.

    Where roots run into each other at a sharp angle and stop soon after, the
    stub is the place they share, and stays; so does the longest of the stubs at
    a root's blunt end.
    """
    stubs: dict[int, list[Chain]] = {}
    others: dict[int, list[Chain]] = {}
    for chain in chains:
        node = max(chain.nodes)
        is_side = min(chain.nodes) < 0 <= node
        if is_side and chain.length_px < 2 * node_radius[node] * SPUR_WIDTHS + 1.5:
            stubs.setdefault(node, []).append(chain)
        else:
            for node in chain.nodes:
                others.setdefault(node, []).append(chain)
    dropped: set[int] = set()
    for node, at_node in stubs.items():
        at_node.sort(key=lambda c: -c.length_px)
        keep = 0 if _passes_through(others.get(node, []), node, node_radius[node]) else 1
        dropped.update(id(c) for c in at_node[keep:])
    return [c for c in chains if id(c) not in dropped]


def _passes_through(at_node: list[Chain], node: int, radius: float) -> bool:
    """Whether two of the chains at a node go on from each other."""
    outward = [v for chain in at_node for v in _outward(chain, node, radius)]
    return any(u @ v < PASSING_COSINE for i, u in enumerate(outward) for v in outward[i + 1 :])


def _outward(chain: Chain, node: int, radius: float) -> list[Points]:
    """Direction in which a chain leaves a node; two, if it comes back to it."""
    found = []
    for side in (0, 1):
        if chain.nodes[side] == node:
            points = chain.points if side == 0 else chain.points[::-1]
            leg = points[min(int(2 * radius + 8), len(points) - 1)] - points[0]
            found.append(leg / max(float(np.hypot(*leg)), 1e-9))
    return found


def drop_rungs(chains: list[Chain], node_radius: NDArray[np.float64]) -> list[Chain]:
    """Leave out short links across two roots that lie side by side.

    Where the seam between two roots is broken, a link as short as the roots
    are wide crosses it. No root goes on from it at either end.
    """
    at_node: dict[int, list[Chain]] = {}
    for chain in chains:
        for node in chain.nodes:
            if node >= 0:
                at_node.setdefault(node, []).append(chain)
    kept = []
    for chain in chains:
        a, b = chain.nodes
        short = a >= 0 and b >= 0 and a != b and chain.length_px <= 2 * (node_radius[a] + node_radius[b]) + 4
        if short:
            along = chain.points[-1] - chain.points[0]
            along = along / max(float(np.hypot(*along)), 1e-9)
            goes_on = _goes_on(at_node[a], chain, a, node_radius[a], -along)
            if not goes_on and not _goes_on(at_node[b], chain, b, node_radius[b], along):
                continue
        kept.append(chain)
    return kept


def _goes_on(at_node: list[Chain], rung: Chain, node: int, radius: float, heading: Points) -> bool:
    """Whether a chain leaves the node in about the direction in which a rung comes to it."""
    return any(v @ heading > RUNG_COSINE for c in at_node if c is not rung for v in _outward(c, node, radius))


def join_through(chains: list[Chain]) -> list[Chain]:
    """Make one chain of two that are alone at a node."""
    at_node: dict[int, list[Chain]] = {}
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


def _flip(chain: Chain, wanted: bool) -> None:
    if wanted:
        chain.points = chain.points[::-1]
        chain.nodes.reverse()


def merge_meetings(
    chains: list[Chain], centres: Points, node_radius: NDArray[np.float64]
) -> tuple[list[Chain], Points, NDArray[np.float64]]:
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
            if chain.length_px <= near:
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
    kept = [
        c for c in kept if c.nodes[0] != c.nodes[1] or c.nodes[0] < 0 or c.length_px > 4 * reach[c.nodes[0]]
    ]
    return kept, merged, reach

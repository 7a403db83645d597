"""The two ends of every edge: where they are, which way they head, how wide and of what colour.

An *end* is one end of one edge, numbered ``2 * edge + side``. Heading, width
and colour are taken over an *arm*: the stretch of centreline that leads up to
the end, from the end back along the edge, or, once roots have been chosen, back
along the whole root over other edges and gaps.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from rootread.follow.types import RootGraph, Step
from rootread.geometry import Points

ARM_IN = 0.5
"""Length of centreline that gives the direction of an end."""
CONTEXT_IN = 1.2
"""The same along a whole root."""
WIGGLE_IN = 0.3
"""How roots wiggle is seen in how their direction changes over this length."""
WIGGLE_DEG = (2.0, 8.0)
"""Changes that straight and that twisted roots make; less or more counts as these."""
CURVED_FROM_PX = 30.0
"""Longer arms along a root are taken as bent, shorter ones as straight."""
PLACE_SIGMA_PX = 1.5
"""Spread of the place of a centreline near a meeting, across the root."""
COMPANY_COSINE = 0.7
"""Roots that come to a meeting within 45 degrees of each other run on together."""


@dataclass(frozen=True, eq=False)
class Ends:
    """The ends of all edges, end ``2 * edge + side``."""

    place_px: Points
    """``(E, 2)`` last place on the centreline not spoilt by the meeting."""
    heading: Points
    """``(E, 2)`` unit vector out of the edge at that place."""
    width_px: NDArray[np.float64]
    """``(E,)`` mean width over the arm."""
    arm_px: NDArray[np.float64]
    """``(E,)`` length of the arm that gave the heading."""
    skip_px: NDArray[np.float64]
    """``(E,)`` how much of the edge lies between its end and ``place_px``."""
    node: NDArray[np.int64]
    """``(E,)`` node at the end, -1 where free."""
    colour: NDArray[np.float64]
    """``(E, 2)`` log ratios red/green and green/blue along the arm: colour without brightness."""
    wiggle_deg: float
    """Median change of direction over ``WIGGLE_IN`` along all edges: of some walls the roots twist."""

    @cached_property
    def at_node(self) -> list[list[int]]:
        """The ends that meet at each node."""
        found: list[list[int]] = [[] for _ in range(self.node.max(initial=-1) + 1)]
        for end, node in enumerate(self.node.tolist()):
            if node >= 0:
                found[node].append(end)
        return found

    @cached_property
    def heading_se_deg(self) -> NDArray[np.float64]:
        """``(E,)`` how unsure each heading is: centrelines are sure to ``PLACE_SIGMA_PX`` only."""
        return np.degrees(np.arctan2(PLACE_SIGMA_PX, self.arm_px))

    @cached_property
    def merged(self) -> NDArray[np.bool_]:
        """``(E / 2,)`` edges that two roots or more seem to share: at both ends two others or more run in.

        Which root goes on as which, can only be told from one side of such an edge
        to the other.
        """
        shared = np.zeros(len(self.node), dtype=bool)
        for meeting in self.at_node:
            for end in meeting:
                others = [other for other in meeting if other // 2 != end // 2]
                shared[end] = (self.heading[others] @ -self.heading[end] > COMPANY_COSINE).sum() >= 2
        return shared[0::2] & shared[1::2]


@dataclass(frozen=True, eq=False)
class _Lines:
    """Centrelines one after the other; arms are windows on them."""

    points: Points
    along: NDArray[np.float64]
    line: NDArray[np.int64]
    width: NDArray[np.float64]
    colour: NDArray[np.float64]


def edge_ends(graph: RootGraph, rgb: NDArray[np.uint8]) -> Ends:
    """Place, heading, width and colour of every edge end, the colour from the ``(M, N, 3)`` sRGB wall."""
    lines, first = _edge_lines(graph, rgb)
    last = np.append(first[1:], len(lines.points)) - 1
    length = lines.along[last]
    node = np.array([n for edge in graph.edges for n in edge.nodes], dtype=np.int64).reshape(-1)
    half_width = np.array([0.5 * edge.median_width_px for edge in graph.edges])
    spoilt = np.where(node >= 0, np.append(graph.node_radius_px, 0.0)[node], np.repeat(half_width, 2))
    skip = np.minimum(spoilt, 0.3 * np.repeat(length, 2))

    # Lengths along all lines as one rising sequence, to find places on them.
    offset = lines.line * (length.max(initial=1.0) + 1)
    rising = lines.along + offset
    head = np.empty(len(node), dtype=np.int64)
    head[0::2] = np.searchsorted(rising, offset[first] + skip[0::2])
    head[1::2] = np.searchsorted(rising, offset[first] + length - skip[1::2], side="right") - 1
    head = head.clip(np.repeat(first, 2), np.repeat(last, 2))
    way = np.tile([1, -1], len(graph.edges))
    place, heading, width, arm, colour = _fit_arms(lines, head, way, ARM_IN * graph.grid.px_per_in, np.inf)
    return Ends(place, heading, width, arm, skip, node, colour, _wiggle_deg(lines, graph.grid.px_per_in))


def ends_in_context(graph: RootGraph, ends: Ends, paths: list[list[Step]], rgb: NDArray[np.uint8]) -> Ends:
    """Ends that look back along the root they were given to.

    A short edge says little about where its root comes from; the whole root
    says more. Ends whose root is no longer than their own arm stay as they are.
    """
    edges, first = _edge_lines(graph, rgb)
    index, path_of, heads, ways, of_end = [], [], [], [], []
    count = 0
    for number, path in enumerate(paths):
        for step in path:
            edge = graph.edges[step.edge]
            own = np.arange(first[step.edge], first[step.edge] + len(edge.points_px))
            inner = edges.along[own] >= ends.skip_px[2 * step.edge]
            inner &= edges.along[own] <= edges.along[own[-1]] - ends.skip_px[2 * step.edge + 1]
            own = own[inner][:: 1 if step.forward else -1]
            if len(own) == 0:
                continue
            index.append(own)
            path_of.append(np.full(len(own), number))
            heads += [count, count + len(own) - 1]
            ways += [1, -1]
            of_end += [step.enters, step.leaves]
            count += len(own)
    if not index:
        return ends
    rows, path_line = np.concatenate(index), np.concatenate(path_of)
    points = edges.points[rows]
    steps = np.hypot(*np.diff(points, axis=0, prepend=points[:1]).T)
    lines = _Lines(points, np.cumsum(steps), path_line, edges.width[rows], edges.colour[rows])
    reach_px = CONTEXT_IN * graph.grid.px_per_in
    _, heading, width, arm, colour = _fit_arms(
        lines, np.array(heads), np.array(ways), reach_px, CURVED_FROM_PX
    )
    end = np.array(of_end)
    longer = arm > ends.arm_px[end] + 2
    seen = replace(
        ends,
        heading=ends.heading.copy(),
        width_px=ends.width_px.copy(),
        arm_px=ends.arm_px.copy(),
        colour=ends.colour.copy(),
    )
    for values, new in (
        (seen.heading, heading),
        (seen.width_px, width),
        (seen.arm_px, arm),
        (seen.colour, colour),
    ):
        values[end[longer]] = new[longer]
    return seen


def _edge_lines(graph: RootGraph, rgb: NDArray[np.uint8]) -> tuple[_Lines, NDArray[np.int64]]:
    """All edges one after the other, and where each begins."""
    points = np.concatenate([edge.points_px for edge in graph.edges])
    count = np.array([len(edge.points_px) for edge in graph.edges])
    first = np.concatenate([[0], np.cumsum(count)[:-1]])
    line = np.repeat(np.arange(len(count)), count)
    steps = np.hypot(*np.diff(points, axis=0, prepend=points[:1]).T)
    steps[first] = 0
    total = np.cumsum(steps)
    column, row = np.round(points).astype(int).T
    column, row = column.clip(0, rgb.shape[1] - 1), row.clip(0, rgb.shape[0] - 1)
    # Ten grey levels on top, lest the noise of dark pixels become colour.
    red, green, blue = np.log(rgb[row, column].astype(float) + 10.0).T
    return (
        _Lines(
            points,
            total - total[first][line],
            line,
            np.concatenate([edge.width_px for edge in graph.edges]),
            np.column_stack([red - green, green - blue]),
        ),
        first,
    )


def _wiggle_deg(lines: _Lines, px_per_in: float) -> float:
    """Median change of direction along the lines; that of straight roots where none is long enough."""
    reach = max(round(0.5 * WIGGLE_IN * px_per_in), 1)
    chord = lines.points[2 * reach :] - lines.points[: -2 * reach]
    heading_deg = np.degrees(np.arctan2(chord[:, 1], chord[:, 0]))
    change = np.abs((heading_deg[2 * reach :] - heading_deg[: -2 * reach] + 180) % 360 - 180)
    on_one = lines.line[4 * reach :] == lines.line[: -4 * reach]
    median = float(np.median(change[on_one])) if on_one.any() else WIGGLE_DEG[0]
    return float(np.clip(median, *WIGGLE_DEG))


def _fit_arms(
    lines: _Lines, head: NDArray[np.int64], way: NDArray[np.int64], reach_px: float, curved_from_px: float
) -> tuple[Points, Points, NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Place, heading out, mean width, length and mean colour of the arms that start at ``head``.

    Each arm is the window of up to ``reach_px`` from its head along its line,
    forwards or backwards. A straight line, or for long arms a parabola in which
    near points count more, is fitted to it by least squares.
    """
    window = head[:, None] + way[:, None] * np.arange(int(reach_px) + 2)[None]
    inside = (window >= 0) & (window < len(lines.points))
    window = window.clip(0, len(lines.points) - 1)
    t = np.abs(lines.along[window] - lines.along[head][:, None])
    inside &= (lines.line[window] == lines.line[head][:, None]) & (t <= reach_px)
    arm = np.where(inside, t, 0.0).max(axis=1)
    curved = arm >= curved_from_px
    weight = inside / (1 + curved[:, None] * (t / (0.5 * reach_px)) ** 2)
    share = weight / weight.sum(axis=1, keepdims=True)

    # Normal equations of x(t) = a + b t + c t^2, c held at 0 for straight arms.
    powers = np.stack([np.ones_like(t), t, t**2 * curved[:, None]], axis=2) / reach_px ** np.arange(3)
    matrix = np.einsum("nk,nki,nkj->nij", share, powers, powers) + 1e-9 * np.eye(3)
    right = np.einsum("nk,nki,nkd->nid", share, powers, lines.points[window])
    solved = np.linalg.solve(matrix, right)
    slope = -solved[:, 1]
    heading = slope / np.maximum(np.hypot(*slope.T), 1e-9)[:, None]
    heading[arm < 1.0] = 0.0
    even = inside / inside.sum(axis=1, keepdims=True)
    width = np.maximum((even * lines.width[window]).sum(axis=1), 1.0)
    colour = np.einsum("nk,nkc->nc", even, lines.colour[window])
    place = np.where((arm < 1.0)[:, None], lines.points[head], solved[:, 0])
    return place, heading, width, arm, colour

"""The two ends of every edge: where they are, which way they head, how wide and of what colour.

An *end* is one end of one edge, numbered ``2 * edge + side``.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.follow.types import RootGraph
from rootread.geometry import Points, arc_length

ARM_IN = 0.5
"""Length of centreline that gives the direction of an end."""


@dataclass(frozen=True, eq=False)
class Ends:
    """The ends of all edges, end ``2 * edge + side``."""

    place_px: Points
    """``(E, 2)`` last place on the centreline not spoilt by the meeting."""
    heading: Points
    """``(E, 2)`` unit vector out of the edge at that place."""
    width_px: NDArray[np.float64]
    """``(E,)`` median width over the arm."""
    arm_px: NDArray[np.float64]
    """``(E,)`` length of the arm that gave the heading."""
    skip_px: NDArray[np.float64]
    """``(E,)`` how much of the edge lies between its end and ``place_px``."""
    node: NDArray[np.int64]
    """``(E,)`` node at the end, -1 where free."""
    colour: NDArray[np.float64]
    """``(E, 2)`` log ratios red/green and green/blue along the arm: colour without brightness."""


def edge_ends(graph: RootGraph, rgb: NDArray[np.uint8]) -> Ends:
    """Place, heading, width and colour of every edge end, the colour from the ``(M, N, 3)`` sRGB wall."""
    arm_px = ARM_IN * graph.grid.px_per_in
    count = 2 * len(graph.edges)
    place, heading = np.zeros((count, 2)), np.zeros((count, 2))
    width, skip, reach = np.zeros(count), np.zeros(count), np.zeros(count)
    colour = np.zeros((count, 2))
    log_rgb = np.log(np.arange(256, dtype=np.float32) + 10.0)
    node = np.array([n for edge in graph.edges for n in edge.nodes], dtype=np.int64)
    for index, edge in enumerate(graph.edges):
        along = arc_length(edge.points_px)
        for side in (0, 1):
            end = 2 * index + side
            from_end = along if side == 0 else along[-1] - along[::-1]
            points = edge.points_px if side == 0 else edge.points_px[::-1]
            widths = edge.width_px if side == 0 else edge.width_px[::-1]
            spoilt = graph.node_radius_px[node[end]] if node[end] >= 0 else 0.5 * edge.median_width_px
            skip[end] = min(spoilt, 0.3 * along[-1])
            arm = (from_end >= skip[end]) & (from_end <= skip[end] + arm_px)
            place[end], heading[end] = _end_line(points[arm], from_end[arm])
            width[end] = max(float(np.median(widths[arm])), 1.0)
            reach[end] = np.ptp(from_end[arm])
            column, row = np.round(points[arm]).astype(int).T
            red, green, blue = np.median(log_rgb[rgb[row, column]], axis=0)
            colour[end] = red - green, green - blue
    return Ends(place, heading, width, reach, skip, node, colour)


def _end_line(points: Points, along: NDArray[np.float64]) -> tuple[Points, Points]:
    """Least-squares straight line through an arm: its place at the end, its direction out of the edge."""
    if len(points) < 2:
        return points[0], np.zeros(2)
    t = along - along.mean()
    slope = (t @ (points - points.mean(axis=0))) / (t @ t)
    return points.mean(axis=0) + slope * t[0], -slope / max(float(np.hypot(*slope)), 1e-9)

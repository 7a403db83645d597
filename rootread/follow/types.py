"""What the follow stage hands on: the graph of the root mask, and whole roots as traces in wall inches."""

from dataclasses import dataclass
from functools import cached_property

import networkx as nx
import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points
from rootread.plane.types import Grid

HEADING_LEG_PX = 12
"""Pixel steps at the end of an edge that say where it is heading."""
NODE_KINDS = {1: "tip", 2: "corner", 3: "branching"}
"""What a node is by how many edges meet there; where four or more do, roots cross."""


@dataclass(frozen=True, eq=False)
class GraphEdge:
    """A stretch of root between two nodes, or between a node and a free end."""

    points_px: Points
    """``(K, 2)`` centreline, grid column and row, every pixel or so."""
    width_px: NDArray[np.float64]
    """``(K,)`` width of the root pixels across the centreline."""
    probability: NDArray[np.float64]
    """``(K,)`` probability of root at the centreline."""
    nodes: tuple[int, int]
    """Node at the first and at the last point; -1 where that end is free (a tip)."""

    @cached_property
    def length_px(self) -> float:
        """Length along the centreline."""
        steps = np.diff(self.points_px, axis=0)
        return float(np.hypot(steps[:, 0], steps[:, 1]).sum())

    @cached_property
    def median_width_px(self) -> float:
        """Median width."""
        return float(np.median(self.width_px))

    def heading(self, side: int) -> Points:
        """``(2,)`` unit vector out of the edge at its first (0) or last (1) point, over about 12 px."""
        outward = self.points_px[::-1] if side == 0 else self.points_px
        leg = outward[-1] - outward[-min(HEADING_LEG_PX, len(outward))]
        unit: Points = leg / max(float(np.hypot(leg[0], leg[1])), 1e-9)
        return unit


@dataclass(frozen=True, eq=False)
class RootGraph:
    """The root mask as centrelines that meet at nodes."""

    nodes_px: Points
    """``(J, 2)`` places where three or more edges meet: branchings and crossings."""
    node_radius_px: NDArray[np.float64]
    """``(J,)`` how far the meeting spoils the centrelines around it."""
    edges: tuple[GraphEdge, ...]
    grid: Grid

    def to_networkx(self) -> nx.MultiGraph:
        """The graph with plain numbers and texts on nodes and edges, places and lengths in wall inches.

        Centreline and widths of an edge are texts, ``x,z x,z ...`` and ``w w ...``, from the node
        ``from_node`` on.
        """
        graph = nx.MultiGraph()
        for index, (x_in, z_in) in enumerate(self.grid.to_in(self.nodes_px)):
            graph.add_node(index, x_in=float(x_in), z_in=float(z_in))
        for index, edge in enumerate(self.edges):
            ends = []
            for side, place in ((0, edge.points_px[0]), (1, edge.points_px[-1])):
                node = edge.nodes[side]
                if node < 0:
                    node = graph.number_of_nodes()
                    x_in, z_in = self.grid.to_in(place)[0]
                    graph.add_node(node, x_in=float(x_in), z_in=float(z_in))
                ends.append(node)
            (x_out, z_out), (x_on, z_on) = edge.heading(0), edge.heading(1)
            graph.add_edge(
                *ends,
                key=index,
                from_node=ends[0],
                length_in=edge.length_px / self.grid.px_per_in,
                width_in=edge.median_width_px / self.grid.px_per_in,
                probability=float(edge.probability.mean()),
                first_heading_deg=float(np.degrees(np.arctan2(z_out, x_out))),
                last_heading_deg=float(np.degrees(np.arctan2(z_on, x_on))),
                points_in=" ".join(f"{x:.4f},{z:.4f}" for x, z in self.grid.to_in(edge.points_px)),
                widths_in=" ".join(f"{w:.4f}" for w in edge.width_px / self.grid.px_per_in),
            )
        for node, degree in graph.degree():
            graph.nodes[node]["kind"] = NODE_KINDS.get(degree, "crossing")
        return graph


@dataclass(frozen=True)
class Step:
    """One edge of a root's path, walked from first to last point or back."""

    edge: int
    forward: bool
    gap_before: bool
    """True where a gap was bridged to come here."""

    @classmethod
    def entering(cls, end: int, gap_before: bool) -> "Step":
        """The edge that has an end, walked from there."""
        return cls(end // 2, end % 2 == 0, gap_before)

    @property
    def enters(self) -> int:
        """The end by which the edge is entered."""
        return 2 * self.edge + (not self.forward)

    @property
    def leaves(self) -> int:
        """The end by which it is left."""
        return 2 * self.edge + self.forward


@dataclass(frozen=True, eq=False)
class Trace:
    """One root's centreline from base to tip."""

    id: str
    order: int
    """0 from the crown, 1 a lateral of such a root, and so on."""
    parent: str | None
    points: Points
    """``(N, 2)`` x and z inches, base first."""
    width_in: NDArray[np.float64]
    """``(N,)`` visible width."""
    inferred: NDArray[np.bool_]
    """``(N,)`` True where the root passes unseen: bridged, behind soil or the scale object, or led along
    another root that alone was seen."""
    confidence: float
    """Chance that this trace is a root, followed right: at least 70 % of it lies on one and the same root."""
    cut: bool = False
    """The photo's edge, the scale object or the wall's side ends it, so its tip is not its end."""
    width_se_in: float = float("nan")
    """Standard error of the width, as it is along most of the root; NaN where nothing is known of it."""
    squeezed: NDArray[np.bool_] | None = None
    """``(N,)`` True where a person marked it flattened; None where nobody did."""

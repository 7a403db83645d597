"""What the follow stage hands on: the graph of the root mask, and whole roots as traces in wall inches."""

from dataclasses import dataclass

import networkx as nx
import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points
from rootread.plane.types import Grid


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

    @property
    def length_px(self) -> float:
        """Length along the centreline."""
        steps = np.diff(self.points_px, axis=0)
        return float(np.hypot(steps[:, 0], steps[:, 1]).sum())

    @property
    def median_width_px(self) -> float:
        """Median width."""
        return float(np.median(self.width_px))


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
        """The graph with plain numbers on nodes and edges, lengths in wall inches."""
        graph = nx.MultiGraph()
        for index, (x_in, z_in) in enumerate(self.grid.to_in(self.nodes_px)):
            graph.add_node(index, kind="meeting", x_in=float(x_in), z_in=float(z_in))
        for index, edge in enumerate(self.edges):
            ends = []
            for side, place in ((0, edge.points_px[0]), (1, edge.points_px[-1])):
                node = edge.nodes[side]
                if node < 0:
                    node = graph.number_of_nodes()
                    x_in, z_in = self.grid.to_in(place)[0]
                    graph.add_node(node, kind="tip", x_in=float(x_in), z_in=float(z_in))
                ends.append(node)
            graph.add_edge(
                *ends,
                key=index,
                length_in=edge.length_px / self.grid.px_per_in,
                width_in=edge.median_width_px / self.grid.px_per_in,
                probability=float(edge.probability.mean()),
            )
        return graph


@dataclass(frozen=True)
class Step:
    """One edge of a root's path, walked from first to last point or back."""

    edge: int
    forward: bool
    gap_before: bool
    """True where a gap was bridged to come here."""


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
    """``(N,)`` True where the root passes unseen behind soil and was bridged."""
    confidence: float
    """Chance that this trace is a root, followed right."""
    cut: bool = False
    """The photo's edge, the scale object or the wall's side ends it, so its tip is not its end."""
    squeezed: NDArray[np.bool_] | None = None
    """``(N,)`` True where a person marked it flattened; None where nobody did."""

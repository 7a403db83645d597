"""The graph of the root mask as GraphML: tips, branchings and crossings, and the stretches between them."""

import io

import networkx as nx

from rootread.follow import build_graph
from rootread.wall import Wall


def graphml(wall: Wall) -> bytes:
    """The graph that the wall's roots were followed over; places and lengths in wall inches."""
    graph = build_graph(wall.root_map, wall.image).to_networkx()
    graph.graph.update(wall=wall.name, units="in")
    file = io.BytesIO()
    nx.write_graphml(graph, file, named_key_ids=True)
    return file.getvalue()

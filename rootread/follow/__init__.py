"""Turn root pixels into whole roots."""

from rootread.follow.follow import follow_roots
from rootread.follow.graph import build_graph
from rootread.follow.marked import with_marked_roots
from rootread.follow.types import GraphEdge, RootGraph, Trace

__all__ = ["GraphEdge", "RootGraph", "Trace", "build_graph", "follow_roots", "with_marked_roots"]

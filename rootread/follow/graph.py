"""The graph of a root mask: centrelines that meet at branchings and crossings."""

import numpy as np

from rootread.find.types import RootMap
from rootread.follow.chains import Chain, sample, sample_each, smooth, with_ends
from rootread.follow.cleaning import drop_rungs, join_through, merge_meetings, prune_spurs
from rootread.follow.nets import refuse_many_chains
from rootread.follow.skeleton import skeleton_chains
from rootread.follow.strands import Strands, find_strands
from rootread.follow.touches import attach_ends, split_corners, to_blunt_end
from rootread.follow.types import GraphEdge, RootGraph
from rootread.plane.types import WallImage

MIN_PIECE_IN = 0.1
"""Separate pieces shorter than this are left out."""


def build_graph(root_map: RootMap, image: WallImage) -> RootGraph:
    """Skeleton and graph of a root map.

    Parameters
    ----------
    root_map : the probability and mask of the find stage.
    image : the flat wall, whose shading shows where touching roots part.

    Raises
    ------
    WallRefused : the mask is a net of thousands of stretches.
    """
    return graph_of_strands(find_strands(root_map, image))


def graph_of_strands(strands: Strands) -> RootGraph:
    """The same from strands that are already parted."""
    radius = strands.radius_px
    found = skeleton_chains(strands.mask, float(radius.max(initial=0)))
    refuse_many_chains(len(found.chains))
    node_radius = sample(radius, found.centres_px)
    chains = [
        Chain(with_ends(chain, ends, found.centres_px), list(ends))
        for chain, ends in zip(found.chains, found.meetings, strict=True)
    ]
    if not chains:
        return RootGraph(np.empty((0, 2)), np.empty(0), (), strands.grid)
    centres = [tuple(c) for c in found.centres_px]
    chains = [to_blunt_end(chain, radius) for chain in chains]
    chains = prune_spurs(chains, node_radius)
    chains = join_through(chains)
    chains, centre_array, node_radius = merge_meetings(chains, np.array(centres).reshape(-1, 2), node_radius)
    chains = join_through(drop_rungs(prune_spurs(chains, node_radius), node_radius))
    chains, centre_array, node_radius = split_corners(chains, centre_array, node_radius, radius)
    chains = drop_rungs(chains, node_radius)
    chains, centre_array, node_radius = attach_ends(chains, centre_array, node_radius, radius)
    min_piece_px = MIN_PIECE_IN * strands.grid.px_per_in
    chains = [c for c in chains if max(c.nodes) >= 0 or c.length_px >= min_piece_px]
    used = sorted({n for c in chains for n in c.nodes if n >= 0})
    renamed = {old: new for new, old in enumerate(used)} | {-1: -1}
    lines = [smooth(chain.points) for chain in chains]
    edges = tuple(
        GraphEdge(points, 2 * half_width, probability, (renamed[chain.nodes[0]], renamed[chain.nodes[1]]))
        for chain, points, half_width, probability in zip(
            chains, lines, sample_each(radius, lines), sample_each(strands.probability, lines), strict=True
        )
    )
    return RootGraph(centre_array[used], node_radius[used], edges, strands.grid)

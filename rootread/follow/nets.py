"""Nets: grass, netting or cloth that the finder took for root.

A net has ten thousand ways through it. To follow it takes minutes and
gigabytes, and what would come of it are no roots, so it is refused.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from rootread.errors import WallRefused
from rootread.geometry import Points
from rootread.units import length_words

MOST_CHAINS = 20_000
"""Chains of the bare skeleton, spurs and all; full walls have up to 2,400. More take long to clean."""
NEAR_IN = 3.0
MOST_NEAR = 2_500_000
"""Pairs of ends so near to each other, and pairs within the reach that the settings ask for: what is listed.
Crowded walls of 300 roots have up to 2,020,000, others 400,000. Each takes a tenth of a kilobyte."""
MOST_FACING = 240_000
"""Those of them that look at each other over a gap: what is weighed, half a kilobyte and more each. Crowded
walls have up to 196,000 (one pair in ten); quarter-inch netting, where ends face rows of others, 281,000."""


def refuse_many_chains(count: int) -> None:
    """Refuse a skeleton of more than ``MOST_CHAINS`` chains; raises ``WallRefused``."""
    if count > MOST_CHAINS:
        raise _net(count)


def refuse_near_ends(ends_px: Points, px_per_in: float, reach_in: float) -> None:
    """Refuse edges whose ends are too many to weigh each with each that is near.

    Parameters
    ----------
    ends_px : ``(E, 2)`` ends of all edges.
    px_per_in : the grid's pixels an inch.
    reach_in : ends farther apart than this are not weighed, as the settings have it.

    Raises
    ------
    WallRefused : the edges are a net, or the reach is too far for this wall.
    """
    tree = cKDTree(ends_px)

    def pairs_within(distance_in: float) -> int:
        return (int(tree.count_neighbors(tree, distance_in * px_per_in)) - len(ends_px)) // 2

    if pairs_within(NEAR_IN) > MOST_NEAR:
        raise _net(len(ends_px) // 2)
    if pairs_within(reach_in) > MOST_NEAR:
        raise WallRefused(
            f"On a wall of so many roots, ends up to {length_words(reach_in)} apart are too many to weigh.",
            "Lower follow.max_gap_in in the settings.",
        )


def refuse_facing_ends(distance_in: NDArray[np.float64], stretches: int) -> None:
    """Refuse ends of which too many look at each other; raises ``WallRefused``.

    ``distance_in`` is that of each such pair; those farther apart than ``NEAR_IN`` are the settings' wish.
    """
    if np.count_nonzero(distance_in <= NEAR_IN) > MOST_FACING:
        raise _net(stretches)


def _net(stretches: int) -> WallRefused:
    return WallRefused(
        f"What looks like root is a net of {stretches} stretches, far more than a wall full of roots has: "
        "grass, netting or cloth.",
        "Clear it away and photograph the wall anew, or mark the wall's outline around bare soil "
        "and roots alone (rootread desk).",
    )

"""Roots that turn out of sight.

Where a dense layer stops a root it turns, and often just there it dips under
soil or into a crack: it ends, and near by another root begins, at a wide
angle. Of two ends a little apart that is unlikely, so that it is thought of
only where both have no likely way straight on.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from rootread.follow.ends import Ends
from rootread.follow.joincost import askew_deg

WIDEST_TURN_DEG = 120.0
"""Roots turn sharply, but do not go back on themselves; nor does either end look farther aside than this. It
is 10 degrees more than at a meeting, where the turn is seen."""
WIDEST_RATIO = 2.5
"""One root is no more than so many times as wide on one side of a turn as on the other."""
LIKELY_COST = 0.0
"""An end with a way straight on that costs less is not looked at."""
NO_WAY_ON_COST = 8.0
"""Of an end without any way straight on, and the most that one counts for."""
ALWAYS, EACH_WAY_ON, EACH_IN_ASIDE = 5.82, -0.31, 5.43
"""Cost of an unseen turn, less what the cheapest ways straight on of both ends cost, and for each inch that
one end lies aside of where the other looks, by angle. Fitted by logistic regression to about
410 unseen turns among 400,000 pairs of ends on 143 made walls, 72 of them with twisted roots."""
MAX_TURN_COST = 5.0
"""Of made walls 1.5 % of the pairs up to 2.4 in apart cost less, and 50 to 65 % of the unseen turns."""


def unseen_turns(
    ends: Ends, pair: NDArray[np.int64], cost: NDArray[np.float64], max_gap_in: float, px_per_in: float
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """``(C, 2)`` pairs of ends that one root may join by a turn out of sight, and what each costs.

    ``pair`` and ``cost`` are the joins straight on.
    """
    way_on = np.full(len(ends.node), NO_WAY_ON_COST)
    np.minimum.at(way_on, pair.ravel(), np.repeat(cost, 2))
    # A speck has no heading.
    lost = np.flatnonzero((way_on >= LIKELY_COST) & ends.heading.any(axis=1))
    near = cKDTree(ends.place_px[lost]).query_pairs(max_gap_in * px_per_in, output_type="ndarray")
    found = lost[near]
    a, b = found.T
    width = np.sort(ends.width_px[found], axis=1)
    kept = (a // 2 != b // 2) & ((ends.node[a] != ends.node[b]) | (ends.node[a] < 0))
    found = found[kept & (width[:, 1] < WIDEST_RATIO * width[:, 0])]
    askew = askew_deg(ends, found).max(axis=1)
    distance_in = np.hypot(*(ends.place_px[found[:, 1]] - ends.place_px[found[:, 0]]).T) / px_per_in
    # How far aside one end lies: the distance, times the angle as a share of a right angle.
    aside_in = distance_in * askew / 90
    turn_cost = ALWAYS + EACH_WAY_ON * way_on[found].sum(axis=1) + EACH_IN_ASIDE * aside_in
    # Headings lead out of their roots: where the root goes straight on they are opposite, so that the
    # angle between them is 180 degrees less the turn.
    between = np.einsum("ij,ij->i", ends.heading[found[:, 0]], ends.heading[found[:, 1]])
    ahead = (askew <= WIDEST_TURN_DEG) & (-between >= np.cos(np.radians(WIDEST_TURN_DEG)))
    likely = (turn_cost < MAX_TURN_COST) & ahead
    new = likely & ~np.isin(pair_number(found, ends), pair_number(pair, ends))
    return found[new], turn_cost[new]


def pair_number(pair: NDArray[np.int64], ends: Ends) -> NDArray[np.int64]:
    """A number for each pair of ends, which rises with the first end and then with the second."""
    number: NDArray[np.int64] = pair[:, 0] * len(ends.node) + pair[:, 1]
    return number

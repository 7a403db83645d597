"""Base and tip, main root and lateral: who grows from whom.

Every root has some possible origins (``kinship``): a base at either end, from
a crown, from another root, or from a root that is not seen. Their chances are
a conditional logit (McFadden, Frontiers in Econometrics, 1974) on what is seen
of each, fitted on made walls with known roots (``benchmarks/lineage.py --fit``):

    chance_k = exp(sum b_j f_jk) / sum over the root's origins l of exp(sum b_j f_jl)
"""

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from rootread.follow.kinship import MAIN, STRAY, Kinship, possible_kinship
from rootread.geometry import Points
from rootread.plane.types import Surface

THINNEST_IN = 0.005
"""A line of no width has no logarithm."""
FITTED = Path(__file__).with_name("lineage.json")
"""Weight of each feature, as fitted."""


@dataclass(frozen=True, eq=False)
class Lineage:
    """For each root: whether its points run tip first, its order and its parent's index."""

    reverse: NDArray[np.bool_]
    order: NDArray[np.int64]
    """0 for roots from a crown; 1 also for a lateral whose parent is not seen."""
    parent: NDArray[np.int64]
    """-1 for roots from a crown or of unknown parent."""


def find_lineage(lines_in: list[Points], widths_in: list[NDArray[np.float64]], surface: Surface) -> Lineage:
    """Decide base, order and parent of every root from what is seen at its ends.

    First whether it is a main root or a lateral, then which end is the base,
    then the parent: each by the sum of the chances of what it leaves open.
    """
    count = len(lines_in)
    if count == 0:
        return Lineage(np.zeros(0, dtype=bool), np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64))
    kinship = possible_kinship(lines_in, [np.maximum(width, THINNEST_IN) for width in widths_in], surface)
    chance = chances(kinship, weights())
    by_root = np.argsort(kinship.root, kind="stable")
    rows = np.split(by_root, np.cumsum(np.bincount(kinship.root, minlength=count))[:-1])
    origin = np.array([_likeliest(kinship, chance, of_root) for of_root in rows])
    parent = without_rings(kinship.parent[origin], chance[origin])
    order = np.array([_order(root, parent) for root in range(count)])
    return Lineage(kinship.end[origin] == 1, order, np.maximum(parent, -1))


def chances(kinship: Kinship, weight: dict[str, float]) -> NDArray[np.float64]:
    """``(K,)`` chance of each origin among those of its root."""
    score = np.sum([b * kinship.features[name] for name, b in weight.items()], axis=0)
    best = np.full(kinship.root.max() + 1, -np.inf)
    np.maximum.at(best, kinship.root, score)
    raised: NDArray[np.float64] = np.exp(score - best[kinship.root])
    return raised / np.bincount(kinship.root, raised)[kinship.root]


@cache
def weights() -> dict[str, float]:
    """Weights of the features as fitted."""
    fitted: dict[str, float] = json.loads(FITTED.read_text(encoding="utf-8"))
    return fitted


def _likeliest(kinship: Kinship, chance: NDArray[np.float64], rows: NDArray[np.int64]) -> int:
    """The row of one root's origin."""
    is_main = kinship.parent[rows] == MAIN
    if chance[rows[is_main]].sum() >= 0.5:
        rows = rows[is_main]
        return int(rows[np.argmax(chance[rows])])
    rows = rows[~is_main]
    at_end = [chance[rows[kinship.end[rows] == end]].sum() for end in (0, 1)]
    rows = rows[kinship.end[rows] == int(at_end[1] > at_end[0])]
    is_stray = kinship.parent[rows] == STRAY
    if chance[rows[is_stray]].sum() > chance[rows[~is_stray]].sum():
        return int(rows[is_stray][0])
    return int(rows[~is_stray][np.argmax(chance[rows[~is_stray]])])


def without_rings(parent: NDArray[np.int64], chance: NDArray[np.float64]) -> NDArray[np.int64]:
    """Parents with every ring opened: the least likely of those in it is a lateral of unseen parent."""
    parent = parent.copy()
    for root in range(len(parent)):
        line = [root]
        while parent[line[-1]] >= 0:
            above = int(parent[line[-1]])
            if above in line:
                ring = line[line.index(above) :]
                parent[min(ring, key=lambda k: (chance[k], k))] = STRAY
                break
            line.append(above)
    return parent


def _order(root: int, parent: NDArray[np.int64]) -> int:
    """Steps up to a root from the crown; one more from a lateral whose parent is not seen."""
    steps = 0
    while parent[root] >= 0:
        root, steps = int(parent[root]), steps + 1
    return steps + int(parent[root] == STRAY)

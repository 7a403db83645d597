"""How well each single root did: scores of 0 to 1, and how much the root counts.

The wall's parts are means of these, so a root that did worse in anything
lowers the part it belongs to and raises none.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.measure.direction import goes_down
from rootread.measure.types import RootReading

FREE_CREDIT = 0.9
HELD_CREDIT = 0.5
"""Descent credit is the mean over a root of descent / pattern, no stretch above 1. From 0.9 on it went
down freely; at 0.5, as shallow as if it had run level half its way, it scores nothing."""
FULL_REACH_IN = 4.0
"""A root counts in proportion to its straight reach up to here, and no more beyond: many short
laterals and fragments do not outvote the roots that show what the soil did, and a root does not count
less because it was stopped."""
STRAIGHT_TORTUOSITY = 1.05
"""Roots of loose soil bend this much by nature."""
CROOKED_TORTUOSITY = 1.50
FLAT_HALF = 0.5
"""A root flattened over half its length scores nothing."""


@dataclass(frozen=True, eq=False)
class RootScores:
    """``(R,)`` arrays, a value a root; scores are 0 (worst) to 1."""

    weight: NDArray[np.float64]
    descent: NDArray[np.float64]
    passage: NDArray[np.float64]
    straightness: NDArray[np.float64]
    roundness: NDArray[np.float64]

    @property
    def quality(self) -> NDArray[np.float64]:
        """Mean of descent and passage: what the soil of a strip let its roots do."""
        return (self.descent + self.passage) / 2


def root_scores(
    roots: Sequence[RootReading], held: Collection[int], pattern_low_deg: float, counted_width_in: float
) -> RootScores:
    """Score every root.

    Parameters
    ----------
    held : indices of the roots that were turned anywhere, or stopped at a layer.
    pattern_low_deg : descent from which a root goes down freely: the lower edge of the widened pattern.
    counted_width_in : thinner roots carry no weight, unless all are thinner; which of them a photo shows
        depends on light and soil, and laterals leave their parent level by nature.
    """
    thick = np.array([root.width_in >= counted_width_in for root in roots])
    reach = np.clip(np.array([root.chord_in for root in roots]) / FULL_REACH_IN, 0.0, 1.0)
    tortuosity = np.array([root.tortuosity for root in roots])
    flattened = np.array([root.flattened_share for root in roots])
    crookedness = (tortuosity - STRAIGHT_TORTUOSITY) / (CROOKED_TORTUOSITY - STRAIGHT_TORTUOSITY)
    return RootScores(
        weight=reach * thick if thick.any() else reach,
        descent=np.array([descent_score(root, pattern_low_deg) for root in roots]),
        passage=np.array([float(index not in held) for index in range(len(roots))]),
        straightness=1.0 - np.clip(crookedness, 0.0, 1.0),
        roundness=1.0 - np.clip(flattened / FLAT_HALF, 0.0, 1.0),
    )


def descent_score(root: RootReading, pattern_low_deg: float, tilt_deg: float = 0.0) -> float:
    """How freely a root went down, 0 to 1, from its mean descent credit.

    ``tilt_deg`` turns the wall clockwise: what leads right then descends by that much more.
    """
    down = 1.0 if goes_down(root.trace.points) else -1.0
    descent = down * root.descent_at_deg
    if tilt_deg:
        descent = descent + tilt_deg * down * np.sign(np.gradient(root.trace.points[:, 0]))
    credit = float(np.clip(descent / pattern_low_deg, 0.0, 1.0).mean())
    return float(np.clip((credit - HELD_CREDIT) / (FREE_CREDIT - HELD_CREDIT), 0.0, 1.0))

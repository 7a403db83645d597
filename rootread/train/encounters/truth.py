"""Which limbs are of one root: followed roots matched to the true roots of a made wall."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rootread.follow.encounter_pictures import ACROSS, LENGTH, Frame
from rootread.follow.encounters import FEWEST_POINTS, LINKS
from rootread.follow.limbs import Limb, Limbs
from rootread.geometry import Points
from rootread.plane import WallPlane
from rootread.train.joins.truth import to_truth, true_courses

NEAR_IN = 0.1
"""A followed root this near to a true one lies on it."""
LIMB_IN = 1.5
"""So much of a limb says of which root it is."""
MATCHED_SHARE = 0.7
"""Share of a limb that must lie along a root for the limb to be of that root."""
BACK_IN = 0.5
"""Where two roots touch, a root may go on from a place so far back."""
CELL_PX = 8
"""True roots are shown in cells so large."""
SHOWN = (ACROSS // CELL_PX, LENGTH // CELL_PX)


@dataclass(frozen=True)
class Held:
    """Where on a true root a limb lies."""

    near_in: float
    """Along the root, where the limb was parted."""
    onward: float
    """1 where it leads toward the tip, -1 toward the base."""


HeldBy = list[dict[int, Held] | None]
"""For each limb of an encounter the true roots along which it lies; None for one that is not there."""


class TrueRoots:
    """Where the photo shows the true roots."""

    def __init__(self, truth: dict[str, Any], plane: WallPlane) -> None:
        self._courses = true_courses(truth)
        self._plane, self._truth = plane, truth

    def nearest(self, places_in: Points, reach_in: float) -> NDArray[np.int64]:
        """``(N,)`` the true root nearest to each place, -1 where none is within reach."""
        away, at = self._courses.tree.query(
            to_truth(places_in, self._plane, self._truth), distance_upper_bound=reach_in
        )
        return np.where(np.isfinite(away), np.append(self._courses.root, -1)[at], -1)

    def of_limbs(self, four: Limbs) -> HeldBy:
        """For each limb the true roots along which it lies."""
        return [None if limb is None else self._of_limb(limb) for limb in four]

    def _of_limb(self, limb: Limb) -> dict[int, Held]:
        points = limb.line_in[: max(round(LIMB_IN / limb.step_in), FEWEST_POINTS)]
        line = to_truth(points, self._plane, self._truth)
        met: dict[int, list[float]] = {}
        for place, near in zip(line, self._courses.tree.query_ball_point(line, NEAR_IN), strict=True):
            at = np.array(near, dtype=int)
            away = np.hypot(*(self._courses.points[at] - place).T)
            for root in np.unique(self._courses.root[at]).tolist():
                own = self._courses.root[at] == root
                met.setdefault(root, []).append(float(self._courses.along_in[at[own][away[own].argmin()]]))
        return {
            root: Held(along[0], float(np.sign(along[-1] - along[0])))
            for root, along in met.items()
            if len(along) > MATCHED_SHARE * len(line)
        }


def shown_roots(four: Limbs, held_by: HeldBy, roots: TrueRoots) -> NDArray[np.int8]:
    """``(4, 12, 24)`` where in the picture of an encounter the true root of each limb lies.

    1 where it does, 0 where not; -1 all over for a limb that is not there or is of no single root.
    """
    frame = Frame.of(four)
    row, column = np.mgrid[: SHOWN[0], : SHOWN[1]].reshape(2, -1)
    middles_px = (np.column_stack([column, row]) + 0.5) * CELL_PX - 0.5
    nearest = roots.nearest(frame.to_wall(middles_px), CELL_PX / frame.px_per_in)
    said = np.full((len(four), len(nearest)), -1, np.int8)
    for held, of_limb in zip(held_by, said, strict=True):
        if held:
            of_limb[:] = np.isin(nearest, list(held))
    return said.reshape(-1, *SHOWN)


def of_one_root(four: Limbs, held_by: HeldBy) -> NDArray[np.int8]:
    """``(4,)`` for each pair of limbs that may go on as each other: whether they are of one root.

    1 if they are, -1 if not, 0 if one is not there.
    """
    said = np.zeros(len(LINKS), np.int8)
    for k, (one, other) in enumerate(LINKS):
        first, second = held_by[one], held_by[other]
        if first is None or second is None:
            continue
        from_, to = four[one], four[other]
        assert from_ is not None and to is not None
        away = float(np.hypot(*(to.line_in[0] - from_.line_in[0])))
        said[k] = 1 if any(_goes_on(first[r], second[r], away) for r in first.keys() & second.keys()) else -1
    return said


def _goes_on(one: Held, other: Held, away_in: float) -> bool:
    """Whether the root leads from one limb to the other, which lie to both sides of where it was parted."""
    ahead = (other.near_in - one.near_in) * other.onward
    return one.onward * other.onward < 0 and -BACK_IN <= ahead <= 1.6 * away_in + 0.4

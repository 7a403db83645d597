"""Root abundance in the soil survey's standard classes, by depth.

Size classes by diameter: very fine < 1 mm, fine 1-2, medium 2-5, coarse 5-10,
very coarse >= 10 mm. Quantity classes: few < 1, common 1 to < 5, many >= 5
roots per unit area, which is 1 cm2 for very fine and fine, 1 dm2 for medium
and coarse, and 1 m2 for very coarse roots. USDA-NRCS, Field Book for
Describing and Sampling Soils, version 3.0, 2012 (from memory).

The classes were made for counting cut ends by eye on a fresh face. Here each
trace counts once in every step of depth that it enters, by its visible width
there, and a photo misses the finest; so read the classes as a lower bound.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from rootread.measure.types import RootReading
from rootread.units import CM_PER_IN, MM_PER_IN

Size = Literal["very fine", "fine", "medium", "coarse", "very coarse"]
Quantity = Literal["few", "common", "many"]

SIZES: tuple[Size, ...] = ("very fine", "fine", "medium", "coarse", "very coarse")
SIZE_FROM_MM = (0.0, 1.0, 2.0, 5.0, 10.0)
UNIT_AREA_CM2 = {"very fine": 1.0, "fine": 1.0, "medium": 100.0, "coarse": 100.0, "very coarse": 10_000.0}
COMMON_FROM, MANY_FROM = 1.0, 5.0
STEP_IN = 6.0
LEAST_WIDTH_IN = 1.0
"""One plumb root spans no width, and over hardly any it would be many."""


@dataclass(frozen=True)
class Abundance:
    """Roots of one size in one step of depth."""

    from_in: float
    to_in: float
    size: Size
    roots: int
    per_unit_area: float
    quantity: Quantity


def size_class(width_in: float) -> Size:
    """Size class of a root by its width."""
    return SIZES[int(np.searchsorted(SIZE_FROM_MM, width_in * MM_PER_IN + 1e-9, side="right")) - 1]


def quantity_class(per_unit_area: float) -> Quantity:
    """Quantity class of a number of roots per unit area."""
    if per_unit_area < COMMON_FROM:
        return "few"
    return "common" if per_unit_area < MANY_FROM else "many"


def abundance(
    roots: Sequence[RootReading], wall_width_in: float, edges_in: Sequence[float] = ()
) -> tuple[Abundance, ...]:
    """Classes by step of depth and size; sizes without a root in a step are left out.

    Parameters
    ----------
    wall_width_in : width of wall that was looked at; of less than an inch there are no classes.
    edges_in : depths between horizons, rising; without them steps of 6 in from the surface.
    """
    if wall_width_in < LEAST_WIDTH_IN:
        return ()
    deepest_in = max((float(root.trace.points[:, 1].max()) for root in roots), default=0.0)
    inner = [edge for edge in edges_in if 0 < edge < deepest_in]
    edges = np.array([0.0, *inner, deepest_in]) if inner else np.arange(0.0, deepest_in + STEP_IN, STEP_IN)
    counts: dict[tuple[int, Size], int] = {}
    for root in roots:
        step = np.searchsorted(edges, root.trace.points[:, 1], side="right") - 1
        for at in np.unique(step[(step >= 0) & (step < len(edges) - 1)]):
            size = size_class(float(np.median(root.trace.width_in[step == at])))
            counts[int(at), size] = counts.get((int(at), size), 0) + 1
    found = []
    for (at, size), number in sorted(counts.items(), key=lambda item: (item[0][0], SIZES.index(item[0][1]))):
        top, bottom = float(edges[at]), float(edges[at + 1])
        area_cm2 = wall_width_in * (bottom - top) * CM_PER_IN**2
        per_unit = number / area_cm2 * UNIT_AREA_CM2[size]
        found.append(Abundance(top, bottom, size, number, per_unit, quantity_class(per_unit)))
    return tuple(found)

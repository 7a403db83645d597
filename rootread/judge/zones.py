"""Strips of the wall: the slots that shanks opened and the berms between, or thirds as a guess."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.fieldsheet import SheetRow
from rootread.measure.types import RootReading

SLOT_SHARE = 0.25
"""A slot reaches a quarter of the shank spacing to either side: slots and berms take half the wall each."""
USUAL_HALF_SLOT_IN = 6.0
"""Half width of a slot when one shank alone is given and no spacing."""


@dataclass(frozen=True, eq=False)
class Zones:
    """Which strip each piece of root lies in."""

    names: tuple[str, ...]
    root_share: NDArray[np.float64]
    """``(zones, R)`` share of each root's length in each zone."""
    guessed: bool
    """True when the sheet does not say where the shanks ran."""


def zones_of(roots: Sequence[RootReading], row: SheetRow | None) -> Zones:
    """Slot and berm from the sheet's shanks, else left, middle and right third of the rooted wall."""
    shanks = np.array(row.shanks_at_in if row is not None else (), dtype=float)
    if len(shanks):
        half_slot_in = SLOT_SHARE * _spacing_in(shanks, row.shank_spacing_in if row else None)
        names: tuple[str, ...] = ("slot", "berm")
        zone = [
            (np.abs(root.trace.points[:, :1] - shanks).min(axis=1) > half_slot_in).astype(int)
            for root in roots
        ]
    else:
        names = ("left third", "middle third", "right third")
        x = np.concatenate([root.trace.points[:, 0] for root in roots])
        edges = np.linspace(x.min(), x.max(), 4)[1:3]
        zone = [np.searchsorted(edges, root.trace.points[:, 0]) for root in roots]
    share = np.array([[float((z == k).mean()) for z in zone] for k in range(len(names))])
    return Zones(names, share, guessed=not len(shanks))


def _spacing_in(shanks: NDArray[np.float64], stated_in: float | None) -> float:
    if stated_in:
        return stated_in
    if len(shanks) > 1:
        return float(np.median(np.diff(np.sort(shanks))))
    return USUAL_HALF_SLOT_IN / SLOT_SHARE

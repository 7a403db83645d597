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


SPARSE_ZONE = 0.05
"""A strip with less of the wall's root length than this says nothing about evenness."""


def sparse(in_zone: NDArray[np.float64]) -> NDArray[np.bool_]:
    """``(..., Z)`` which strips hold too little of the root length in them all to be compared."""
    return np.asarray(in_zone < SPARSE_ZONE * in_zone.sum(axis=-1, keepdims=True))


@dataclass(frozen=True, eq=False)
class Zones:
    """Which strip each point of each root lies in."""

    names: tuple[str, ...]
    edges_in: NDArray[np.float64]
    """``(K,)`` x of the borders between strips, rising."""
    zone_of_strip: NDArray[np.intp]
    """``(K + 1,)`` index into ``names`` of each strip between borders."""
    zone_at: tuple[NDArray[np.intp], ...]
    """For each root, ``(N,)`` index into ``names`` at each of its points."""
    guessed: bool
    """True when the sheet names no shanks that left both slot and berm where roots are."""

    @property
    def points_in_zone(self) -> NDArray[np.float64]:
        """``(Z, R)`` points of each root in each zone."""
        counted = [np.bincount(zone, minlength=len(self.names)) for zone in self.zone_at]
        return np.array(counted, dtype=float).T

    def at(self, x_in: NDArray[np.float64]) -> NDArray[np.intp]:
        """Index into ``names`` of places along the wall, any shape."""
        return self.zone_of_strip[np.searchsorted(self.edges_in, x_in)]


def zones_of(
    roots: Sequence[RootReading], row: SheetRow | None, slots: Sequence[tuple[float, float]] = ()
) -> Zones:
    """Slot and berm from the sheet's shanks or from guessed slots, else thirds of the rooted wall.

    Shanks that ran where nearly all roots are in slots, or nearly all in berms, have nothing to compare here.

    Parameters
    ----------
    slots : left and right end of each, left to right; used where the sheet's shanks give none.
    """
    given = _of_shanks(roots, row) if row is not None and row.shanks_at_in else None
    if given is not None and not sparse(given.points_in_zone.sum(axis=1)).any():
        return given
    if len(slots):
        strips = np.array([1, 0] * len(slots) + [1], dtype=np.intp)
        return _strips_of(roots, ("slot", "berm"), np.array(slots, dtype=float).ravel(), strips, guessed=True)
    x = np.concatenate([root.trace.points[:, 0] for root in roots])
    edges = np.linspace(x.min(), x.max(), 4)[1:3]
    return _strips_of(roots, ("left third", "middle third", "right third"), edges, np.arange(3), guessed=True)


def _of_shanks(roots: Sequence[RootReading], row: SheetRow) -> Zones:
    shanks = np.unique(np.array(row.shanks_at_in, dtype=float))
    edges, strips = _slot_borders(shanks, SLOT_SHARE * _spacing_in(shanks, row.shank_spacing_in))
    return _strips_of(roots, ("slot", "berm"), edges, strips, guessed=False)


def _strips_of(
    roots: Sequence[RootReading],
    names: tuple[str, ...],
    edges: NDArray[np.float64],
    strips: NDArray[np.intp],
    guessed: bool,
) -> Zones:
    at = tuple(strips[np.searchsorted(edges, root.trace.points[:, 0])] for root in roots)
    return Zones(names, edges, strips, at, guessed)


def _spacing_in(shanks: NDArray[np.float64], stated_in: float | None) -> float:
    if stated_in:
        return stated_in
    if len(shanks) > 1:
        return float(np.median(np.diff(shanks)))
    return USUAL_HALF_SLOT_IN / SLOT_SHARE


def _slot_borders(
    shanks: NDArray[np.float64], half_slot_in: float
) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """Borders of the strips berm, slot, berm, ..., slot, berm; slots that overlap share a border."""
    middles = (shanks[1:] + shanks[:-1]) / 2
    starts = np.maximum(shanks - half_slot_in, np.append(-np.inf, middles))
    ends = np.minimum(shanks + half_slot_in, np.append(middles, np.inf))
    edges = np.column_stack([starts, ends]).ravel()
    strips = np.array([1, 0] * len(shanks) + [1], dtype=np.intp)
    return edges, strips

"""Cone penetrometer readings against what the roots show.

Roots hardly grow where the cone meets about 300 psi (2 MPa): Taylor and Gardner
1963, Soil Science 96:153-156 (from memory). It depends on how wet the soil was
when the cone was pushed: a dry soil reads hard that was soft when roots grew.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from rootread.fieldsheet import ConeReading
from rootread.geometry import Points
from rootread.judge.types import Layer

AGREES_IN = 1.5
"""A cone reads the soil an inch or so ahead of its shoulder, and depths are read off its shaft."""
BESIDE_IN = 3.0
"""A place this near to the end of a layer still tests it."""


@dataclass(frozen=True)
class ConeProfile:
    """The readings at one place along the wall."""

    x_in: float
    depths_in: tuple[float, ...]
    """Below the soil surface at that place, rising."""
    psi: tuple[float, ...]
    surface_in: float
    """Depth of the soil surface there in the wall plane."""
    limit_psi: float
    """Cone index at which roots hardly grow."""
    limit_depth_in: float | None
    """Depth below the surface at which the limit is first reached; None if it is not."""

    @property
    def hard_from_first(self) -> bool:
        """Whether the limit is exceeded at the first reading, so that it lies there or anywhere above."""
        return self.limit_depth_in is not None and self.psi[0] >= self.limit_psi

    @property
    def limit_z_in(self) -> float | None:
        """The same depth in the wall plane."""
        return None if self.limit_depth_in is None else self.surface_in + self.limit_depth_in


@dataclass(frozen=True)
class ConeAgreement:
    """How the cone agrees with one layer."""

    layer_depth_in: float
    tested: int
    """Places within the layer's reach that tell of it: probed as deep, and soft above."""
    agree: int
    """Of these, places where the limit is first reached near the layer."""
    shallower: int
    """Of these, places where it is reached well above."""
    softer: int
    """Of these, places where it is not reached by then."""


def cone_profiles(
    readings: Sequence[ConeReading], surface_in: Points, limit_psi: float
) -> tuple[ConeProfile, ...]:
    """Readings gathered by place, from left to right.

    Parameters
    ----------
    surface_in : ``(N, 2)`` soil surface line, x rising.
    limit_psi : where roots are held.
    """
    found = []
    for x_in in sorted({reading.x_in for reading in readings}):
        here = sorted((r.depth_in, r.psi) for r in readings if r.x_in == x_in)
        surface = float(np.interp(x_in, surface_in[:, 0], surface_in[:, 1]))
        depths, psi = tuple(depth for depth, _ in here), tuple(value for _, value in here)
        found.append(ConeProfile(x_in, depths, psi, surface, limit_psi, limit_depth(depths, psi, limit_psi)))
    return tuple(found)


def limit_depth(depths_in: Sequence[float], psi: Sequence[float], limit_psi: float) -> float | None:
    """Depth at which the readings first reach the limit, on the straight line between two of them."""
    if psi and psi[0] >= limit_psi:
        return depths_in[0]
    for (upper, before), (lower, after) in pairwise(zip(depths_in, psi, strict=True)):
        if before < limit_psi <= after:
            return upper + (lower - upper) * (limit_psi - before) / (after - before)
    return None


def cone_agreement(profiles: Sequence[ConeProfile], layers: Sequence[Layer]) -> tuple[ConeAgreement, ...]:
    """For each layer, at how many places the cone says the same.

    A place whose first reading lies below the layer and is hard tells nothing: it may have been hard above.
    """
    found = []
    for layer in layers:
        off = []
        for profile in profiles:
            if not layer.x_from_in - BESIDE_IN <= profile.x_in <= layer.x_to_in + BESIDE_IN:
                continue
            at = float(layer.line.depth_at(np.array([profile.x_in]))[0])
            if profile.limit_z_in is not None:
                by_in = profile.limit_z_in - at
                if by_in <= AGREES_IN or not profile.hard_from_first:
                    off.append(by_in)
            elif profile.surface_in + profile.depths_in[-1] >= at + AGREES_IN:
                off.append(float("inf"))
        found.append(
            ConeAgreement(
                layer.depth_in,
                len(off),
                sum(abs(by) <= AGREES_IN for by in off),
                sum(by < -AGREES_IN for by in off),
                sum(by > AGREES_IN for by in off),
            )
        )
    return tuple(found)

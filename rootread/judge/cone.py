"""Cone penetrometer readings against what the roots show.

Roots hardly grow where the cone meets about 300 psi (2 MPa): Taylor and Gardner
1963, Soil Science 96:153-156 (from memory). It depends on how wet the soil was
when the cone was pushed: a dry soil reads hard that was soft when roots grew.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from rootread.fieldsheet import ConeReading
from rootread.geometry import Points
from rootread.judge.types import Layer

AGREES_IN = 1.5
"""A cone reads the soil an inch or so ahead of its shoulder, and depths are read off its shaft."""
BESIDE_IN = 3.0
"""A place this near to the end of a layer still tests it."""


Sign = Literal["near", "above", "soft", "unknown"]


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
    """Places within the layer's reach that were probed as deep as it, or until they were too hard."""
    agree: int
    """Of these, places where the limit is reached near the layer."""
    shallower: int
    """Of these, places where it is reached well above, and exceeded from there on."""
    softer: int
    """Of these, places that are soft at the layer."""


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
    return next(iter(_limit_depths(depths_in, psi, limit_psi)), None)


def _limit_depths(depths_in: Sequence[float], psi: Sequence[float], limit_psi: float) -> Iterator[float]:
    """Every depth at which it becomes as hard as the limit, from the top down."""
    if psi and psi[0] >= limit_psi:
        yield depths_in[0]
    for (upper, before), (lower, after) in pairwise(zip(depths_in, psi, strict=True)):
        if before < limit_psi <= after:
            yield upper + (lower - upper) * (limit_psi - before) / (after - before)


def cone_agreement(profiles: Sequence[ConeProfile], layers: Sequence[Layer]) -> tuple[ConeAgreement, ...]:
    """For each layer, at how many places the cone says the same.

    Under a hard layer the soil may be soft again, and hard at the next: each layer is set against the
    nearest depth at which the limit is reached from above.
    """
    found = []
    for layer in layers:
        said: list[Sign] = []
        for profile in profiles:
            if layer.x_from_in - BESIDE_IN <= profile.x_in <= layer.x_to_in + BESIDE_IN:
                at_in = float(layer.line.depth_at(np.array([profile.x_in]))[0])
                said.append(_sign(profile, at_in - profile.surface_in))
        tested = [sign for sign in said if sign != "unknown"]
        counts = (tested.count(sign) for sign in ("near", "above", "soft"))
        found.append(ConeAgreement(layer.depth_in, len(tested), *counts))
    return tuple(found)


def _sign(profile: ConeProfile, layer_in: float) -> Sign:
    """What the cone says of a layer so far below the surface at its place.

    ``near``: the limit is reached near it; ``above``: well above, and it stays hard down to the layer or as
    far as the cone was pushed; ``soft``: it is soft at the layer; ``unknown``: there is no reading there.
    """
    depths_in, psi, limit_psi = profile.depths_in, profile.psi, profile.limit_psi
    if depths_in[0] > layer_in + AGREES_IN:
        return "unknown"
    if any(abs(z - layer_in) <= AGREES_IN for z in _limit_depths(depths_in, psi, limit_psi)):
        return "near"
    if float(np.interp(layer_in, depths_in, psi)) >= limit_psi:
        return "above"
    return "soft" if depths_in[-1] >= layer_in + AGREES_IN else "unknown"

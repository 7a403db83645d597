"""Signs that gather at one depth: the window in which they do, and the band of wall that they belong to."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.judge.signs import Sign

MEMBER_IN = 1.0
"""A sign within this of the middle of a gathering belongs to the layer."""
BESIDE_IN = 3.0
"""So does one that lies this far beside the gathering's ends, but none farther off."""


@dataclass(frozen=True)
class Gathering:
    """The window in which signs gather most, and how often chance gathers them as much."""

    z_from_in: float
    z_to_in: float
    """Depths at the middle of the wall."""
    x_from_in: float
    x_to_in: float
    statistic: float
    p_value: float
    slope: float = 0.0
    """Inches down per inch to the right."""
    middle_x_in: float = 0.0

    def holds(self, x_in: float, depth_in: float) -> bool:
        """Whether a place lies in the window."""
        level_in = depth_in - self.slope * (x_in - self.middle_x_in)
        return (
            self.z_from_in <= level_in <= self.z_to_in
            and self.x_from_in - 1e-6 <= x_in <= self.x_to_in + 1e-6
        )


@dataclass(frozen=True)
class Band:
    """The stretch of wall whose signs belong to one gathering: about its depth, and a little beside."""

    depth_in: float
    """Of its middle, at the middle of the wall."""
    x_from_in: float
    x_to_in: float
    slope: float
    middle_x_in: float

    def holds(self, sign: Sign) -> bool:
        """Whether a sign was seen in it, wholly or in part."""
        middle_in = self.depth_in + self.slope * (sign.x_in - self.middle_x_in)
        beside = self.x_from_in <= sign.x_to_in and sign.x_from_in <= self.x_to_in
        return beside and abs(sign.depth_in - middle_in) <= MEMBER_IN

    def covers(self, x_in: NDArray[np.floating], depth_in: NDArray[np.floating]) -> NDArray[np.bool_]:
        """``(N,)`` whether places along a root lie in it."""
        middle_in = self.depth_in + self.slope * (x_in - self.middle_x_in)
        beside = (self.x_from_in <= x_in) & (x_in <= self.x_to_in)
        covered: NDArray[np.bool_] = beside & (np.abs(depth_in - middle_in) <= MEMBER_IN)
        return covered


def band_of(signs: Sequence[Sign], gathering: Gathering) -> Band:
    """The band around the middle one of the signs in a gathering's window."""
    slope, middle_x_in = gathering.slope, gathering.middle_x_in
    inside = [
        sign.depth_in - slope * (sign.x_in - middle_x_in)
        for sign in signs
        if gathering.holds(sign.x_in, sign.depth_in)
    ]
    depth_in = float(np.median(inside)) if inside else (gathering.z_from_in + gathering.z_to_in) / 2
    return Band(depth_in, gathering.x_from_in - BESIDE_IN, gathering.x_to_in + BESIDE_IN, slope, middle_x_in)

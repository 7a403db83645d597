"""Descent as it is shown: on the way down, whichever end the trace was followed from."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.measure.direction import goes_down
from rootread.measure.types import RootReading


@dataclass(frozen=True, eq=False)
class WayDown:
    """Where a root leads at each of its points."""

    descent_deg: NDArray[np.float64]
    """``(N,)`` degrees below horizontal."""
    rightward: NDArray[np.bool_]
    """``(N,)`` True where the way down leads to the right."""


def way_down(root: RootReading) -> WayDown:
    """A root's descents; base and tip are not always told apart, so the higher end counts as the base."""
    points = root.trace.points
    down = 1.0 if goes_down(points) else -1.0
    return WayDown(down * root.descent_at_deg, down * np.gradient(points[:, 0]) >= 0)

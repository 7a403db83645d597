"""What the follow stage hands on: whole roots as traces in wall inches."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points


@dataclass(frozen=True, eq=False)
class Trace:
    """One root's centreline from base to tip."""

    id: str
    order: int
    """0 from the crown, 1 a lateral of such a root, and so on."""
    parent: str | None
    points: Points
    """``(N, 2)`` x and z inches, base first."""
    width_in: NDArray[np.float64]
    """``(N,)`` visible width."""
    inferred: NDArray[np.bool_]
    """``(N,)`` True where the root passes unseen behind soil and was bridged."""
    confidence: float
    """Chance that this trace is a root, followed right."""
    cut: bool = False
    """The photo's edge, the scale object or the wall's side ends it, so its tip is not its end."""

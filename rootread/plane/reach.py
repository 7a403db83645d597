"""How finely each place of a photo shows the wall, and so which part of it can be read."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points

# Parts of the wall seen smaller than this share of the middle's scale are left out: too oblique to read.
SMALLEST_SCALE_SHARE = 0.4


def photo_places(size_px: tuple[int, int], across: int, down: int) -> Points:
    """``(across * down, 2)`` photo pixels spread evenly from edge to edge of a photo of ``size_px``."""
    width, height = size_px
    columns, rows = np.meshgrid(np.linspace(0, width - 1, across), np.linspace(0, height - 1, down))
    return np.column_stack([columns.ravel(), rows.ravel()])


def local_px_per_in(to_in: Callable[[Points], Points], photo_px: Points) -> NDArray[np.float64]:
    """``(N,)`` photo pixels per wall inch at photo places, by area; 0 beyond the wall's horizon.

    ``to_in`` takes photo pixels to inches of the wall.
    """
    step = 1.0
    # A place on the horizon itself is infinitely far, and its area no number.
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        here = to_in(photo_px)
        right = to_in(photo_px + np.array([step, 0.0])) - here
        down = to_in(photo_px + np.array([0.0, step])) - here
        area_in = right[:, 0] * down[:, 1] - right[:, 1] * down[:, 0]
    return np.where(area_in > 0, 1.0 / np.sqrt(np.maximum(area_in, 1e-12)), 0.0)


def fine_enough(px_per_in: NDArray[np.float64]) -> NDArray[np.bool_]:
    """``(N,)`` which of the places spread over a photo show the wall well enough to read it."""
    return px_per_in > SMALLEST_SCALE_SHARE * float(np.median(px_per_in))

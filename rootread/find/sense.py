"""Physical sense of a root map as a whole: is this what roots do?"""

import cv2
import numpy as np
from numpy.typing import NDArray

LATTICE_FOURFOLD = 0.80
LATTICE_TWOFOLD = 0.80
"""Past these mean resultant lengths directions are two, square to each other: masonry, mesh, weave."""


def is_lattice(mask: NDArray[np.bool_]) -> bool:
    """Whether the lines of a ``(M, N)`` mask run in two directions square to each other.

    Roots fan out and wander; mortar joints, mesh and woven cloth do not. With
    direction a of each line pixel, the mean of exp(4ia) has length 1 for a
    square lattice and for parallel lines, the mean of exp(2ia) for parallel
    lines only (mean resultant length: Mardia and Jupp 2000, Directional
    Statistics, section 2.3; from memory).
    """
    lines = cv2.resize(mask.astype(np.float32), None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    if lines.sum() < 100:
        return False
    blurred = cv2.GaussianBlur(lines, (0, 0), 2.0)
    right = cv2.Sobel(blurred, cv2.CV_32F, 1, 0)
    down = cv2.Sobel(blurred, cv2.CV_32F, 0, 1)
    # Structure tensor: the gradient's doubled angle, averaged over the line's width, is the line's own.
    cosine, sine, energy = (
        cv2.GaussianBlur(part, (0, 0), 3.0)
        for part in (right**2 - down**2, 2 * right * down, right**2 + down**2)
    )
    on_line = (lines > 0.5) & (energy > 1e-6)
    doubled = (cosine[on_line] + 1j * sine[on_line]) / energy[on_line]
    weight = np.abs(doubled)
    unit = doubled / np.maximum(weight, 1e-6)
    twofold = abs(np.average(unit, weights=weight + 1e-9))
    fourfold = abs(np.average(unit**2, weights=weight + 1e-9))
    return bool(fourfold > LATTICE_FOURFOLD and twofold < LATTICE_TWOFOLD)

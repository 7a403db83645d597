"""The seams between roots that touch, by a small network that looks where there are roots.

Where one root lies on or beside another, the photo may show a dark line, a bright one, or
no more than a change of skin; a root that is darker than its soil shows other lines than
a pale one. The network learnt from made walls alone (see ``rootread.train.seams``) what
parts two roots. It is asked about the neighbourhood of root pixels only: a few per cent of a wall.
"""

from functools import lru_cache
from importlib.resources import files
from itertools import pairwise
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.find.network import MOST_PX
from rootread.find.session import ANSWER, INPUT
from rootread.threads import open_network, share_out

WEIGHTS = "weights/seams.onnx"
TRAINED_PX_PER_IN = (44.0, 125.0)
"""Wall resolutions the network has learnt from; others are resampled to the nearer end."""
TILE_PX = 64
"""Root pixels are looked for in tiles of this side; those beside each other are read in one window."""
AROUND_PX = 16
"""Read around each window: what lies farther off hardly changes an answer."""
LONGEST_WINDOW_PX = 512
"""So that cores share a wall's windows evenly."""

Window = tuple[int, int, int]
"""First row and first column of tiles in a row, and the column after their last."""


def seam_probability(
    rgb: NDArray[np.uint8], mask: NDArray[np.bool_], px_per_in: float
) -> NDArray[np.float32]:
    """``(M, N)`` chance that a root pixel lies where two roots meet; 0 far from root pixels.

    Parameters
    ----------
    rgb : ``(M, N, 3)`` sRGB of a flat wall.
    mask : ``(M, N)`` root pixels.
    px_per_in : the wall's resolution.
    """
    zoom = float(np.clip(px_per_in, *TRAINED_PX_PER_IN)) / px_per_in
    zoom = min(zoom, max(1.0, float(np.sqrt(MOST_PX / mask.size))))
    if zoom == 1.0:
        return _at_own_scale(rgb, mask)
    rows, columns = mask.shape
    size = (max(round(columns * zoom), 1), max(round(rows * zoom), 1))
    how = cv2.INTER_AREA if zoom < 1 else cv2.INTER_CUBIC
    small_mask = cv2.resize(mask.view(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    found = _at_own_scale(cv2.resize(rgb, size, interpolation=how), small_mask)
    back: NDArray[np.float32] = cv2.resize(found, (columns, rows), interpolation=cv2.INTER_LINEAR)
    return back


def _at_own_scale(rgb: NDArray[np.uint8], mask: NDArray[np.bool_]) -> NDArray[np.float32]:
    rows, columns = mask.shape
    bottom, right = -rows % TILE_PX + AROUND_PX, -columns % TILE_PX + AROUND_PX
    around = cv2.copyMakeBorder(rgb, AROUND_PX, bottom, AROUND_PX, right, cv2.BORDER_REPLICATE)
    seam = np.zeros((rows + bottom - AROUND_PX, columns + right - AROUND_PX), np.float32)
    network = _network()

    def look(window: Window) -> None:
        top, first, last = window
        logit = network(around[top : top + TILE_PX + 2 * AROUND_PX, first : last + 2 * AROUND_PX])
        inner = logit[AROUND_PX:-AROUND_PX, AROUND_PX:-AROUND_PX]
        seam[top : top + TILE_PX, first:last] = 1 / (1 + cv2.exp(-inner))

    share_out(look, windows_on(mask))
    return seam[:rows, :columns]


def windows_on(mask: NDArray[np.bool_]) -> list[Window]:
    """Windows that hold every root pixel of an ``(M, N)`` mask: tiles in a row, the longest windows first."""
    rows, columns = mask.shape
    padded = np.pad(mask, ((0, -rows % TILE_PX), (0, -columns % TILE_PX)))
    blocks = padded.reshape(padded.shape[0] // TILE_PX, TILE_PX, -1, TILE_PX)
    tiles: NDArray[np.bool_] = np.any(blocks, axis=(1, 3))
    found: list[Window] = []
    for row, filled in enumerate(tiles):
        edges = np.flatnonzero(np.diff(filled.astype(np.int8), prepend=0, append=0)) * TILE_PX
        for first, last in edges.reshape(-1, 2).tolist():
            cuts = [*range(first, last, LONGEST_WINDOW_PX), last]
            found += [(row * TILE_PX, a, b) for a, b in pairwise(cuts)]
    return sorted(found, key=lambda window: window[1] - window[2])


@lru_cache(maxsize=1)
def _network() -> Any:
    """The network that comes with the package, as a function of a picture with sides of multiples of 8."""
    session = open_network(files("rootread.follow").joinpath(WEIGHTS).read_bytes())

    def logit(rgb: NDArray[np.uint8]) -> NDArray[np.float32]:
        (answer,) = session.run([ANSWER], {INPUT: np.ascontiguousarray(rgb)[None]})
        said: NDArray[np.float32] = answer[0, ..., 0]
        return said

    return logit

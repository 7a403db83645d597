"""Where the wall ends and the pit's floor begins: loose soil and litter below are no part of the wall.

The floor's edge is a level line low in the picture, over which colour or
roughness change by the same step all along. A horizon does that too, but roots
pass a horizon and none passes the floor's edge: what lies below it are
separate pieces, straw for the most part. Where roots do pass, nothing is cut.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.components import components
from rootread.find.halfsize import HalfWall
from rootread.photo import to_lab

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

LOOK_PX_PER_IN = 12.0
LOWEST_SHARE = 0.3
"""Of the wall's height in the picture; the floor is looked for in so much at its foot."""
STRIP_IN = 1.0
"""Strips so high above and below the line are compared."""
BLOCK_IN = 2.0
"""In blocks so wide: shade and stones change single ones, the floor's edge all."""
LEAST_BLOCKS = 6
LEAST_SOIL = 0.7
UNITS = (2.0, 1.0, 1.0, 0.12)
"""Steps of CIE L*, a*, b* and log roughness that begin to tell, beyond which blocks must agree."""
SURE_STEP = 3.8
"""The step of the middling block over its standard error: made walls have up to 3.4 without a floor, and
mostly more than 9 at one."""
PASSING_IN = 0.5
PASSING_SHARE = 0.25
"""Root that reaches so far to both sides, as a share of all that reaches below, makes the line a horizon."""


def floor_row(half: HalfWall, root: Mask) -> int | None:
    """Row of the floor's edge at half resolution, or None where the wall goes on or nothing lies below."""
    rows = np.flatnonzero(half.soil.any(axis=1))
    if not len(rows):
        return None
    top = int(rows[-1] - LOWEST_SHARE * (rows[-1] - rows[0]))
    if not root[top:].any():
        return None
    found, step = best_edge(half, top)
    if step < SURE_STEP or _passing_share(root, found, PASSING_IN * half.px_per_in) > PASSING_SHARE:
        return None
    return found


def best_edge(half: HalfWall, top: int) -> tuple[int, float]:
    """The level row below ``top`` where most changes, and by how many standard errors."""
    features, soil = _look(half)
    shrink = half.px_per_in / LOOK_PX_PER_IN
    strip, block = round(STRIP_IN * LOOK_PX_PER_IN), round(BLOCK_IN * LOOK_PX_PER_IN)
    blocks = soil.shape[1] // block
    if blocks < LEAST_BLOCKS:
        return 0, 0.0
    # Sums over blocks of columns, then running sums down the rows, give the mean of any strip.
    cut = np.s_[:, : blocks * block]
    count = soil[cut].reshape(len(soil), blocks, block).sum(axis=2)
    total = (features * soil[..., None])[cut].reshape(len(soil), blocks, block, -1).sum(axis=2)
    count, total = (np.concatenate([np.zeros_like(v[:1]), v.cumsum(axis=0)]) for v in (count, total))
    best = (0, 0.0)
    for row in range(max(int(top / shrink), strip), len(soil) - strip):
        above, below = count[row] - count[row - strip], count[row + strip] - count[row]
        seen = np.minimum(above, below) > LEAST_SOIL * strip * block
        if seen.sum() < LEAST_BLOCKS:
            continue
        change = (total[row + strip] - total[row])[seen] / below[seen, None]
        change -= (total[row] - total[row - strip])[seen] / above[seen, None]
        middle = np.median(change, axis=0)
        spread = 1.48 * np.median(np.abs(change - middle), axis=0) + np.array(UNITS)
        step = float(np.linalg.norm(middle / (1.25 * spread / np.sqrt(seen.sum()))))
        if step > best[1]:
            best = (round(row * shrink), step)
    return best


def _look(half: HalfWall) -> tuple[Image, Image]:
    """``(m, n, 4)`` colour and roughness, and the share of soil, at a dozen pixels an inch."""
    size = tuple(max(round(side * LOOK_PX_PER_IN / half.px_per_in), 1) for side in half.soil.shape[::-1])
    rough = np.abs(half.tone - cv2.GaussianBlur(half.tone, (0, 0), 2.0))
    lab = to_lab(half.rgb)
    fine = np.dstack([lab, rough])
    soil = half.soil.astype(np.float32)
    look, share = (cv2.resize(v, size, interpolation=cv2.INTER_AREA) for v in (fine, soil))
    look[..., 3] = np.log(cv2.GaussianBlur(look[..., 3], (0, 0), 2.0) + 0.01)
    return look, (share > 0.99).astype(np.float32)


def _passing_share(root: Mask, row: int, reach_px: float) -> float:
    """Of the root below a row, the share in pieces that reach well to both sides of it."""
    pieces = components(root)
    first, last = pieces.rows
    passing = (first < row - reach_px) & (last + 1 > row + reach_px)
    below = np.bincount(pieces.of[pieces.at >= row * root.shape[1]], minlength=pieces.count)
    return float(below[passing].sum() / max(below.sum(), 1))

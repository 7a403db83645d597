"""The soil surface: where the wall's soil ends below sky, crop or residue.

First every straight line that could be it is weighed (``first_line``). Near the
likeliest, a least-cost path by dynamic programming parts background and soil:
what is greener, bluer, brighter or smoother than the wall is background; darker
is not, since topsoil is darker than subsoil. The colours and textures of both
sides are learned beside the line, and the line is drawn anew by what was learned.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solveh_banded

from rootread.geometry import Points
from rootread.plane.background import (
    TEXTURE_SHRINK,
    kinds,
    learned_evidence,
    look_at,
    unlike_wall,
)
from rootread.plane.first_line import first_line
from rootread.plane.sightings import Floats
from rootread.plane.types import Grid, Lens
from rootread.threads import both

# The line is sought at this resolution, on texture seen three times finer.
SEARCH_PX_PER_IN = 12.0
# Times that both sides are learned and the line is drawn anew.
ROUNDS = 2
# The line is level over so many columns; cost of its stepping one pixel up or down to the next ones,
# and the longest step.
COLUMNS_AT_ONCE = 3
STEP_COST = 3.0
MAX_STEP = 5
# Width of the strips beside the line from which both sides are learned, and how far the line may move.
LEARN_IN = 3.5
# Soil is learned from below what may be litter.
LITTER_IN = 1.0
# Weight of being unlike the wall, once both sides have been learned.
UNLIKE_WEIGHT = 0.4
REDRAWN_WITHIN_IN = 1.5
# The ground is smooth over about this width, and lies along the lower side of what sticks up from it;
# what cuts deeper into it than this is a stalk or a crack.
SMOOTH_IN = 6.0
DEEPER_WEIGHT = 0.8
STALK_DEPTH_IN = 0.15
# The surface is in the photo where the line runs more than this below its edge; over less of the wall's
# width than this share it is not found at all.
MIN_SEEN_PX = 3
MIN_SEEN_SHARE = 0.3
UNSEEN_WEIGHT = 1e-4
# The boundary itself is looked for so near to the line, and the line moved by no more than this.
EDGE_REACH_PX = 6.0
MAX_OFFSET_PX = 3.0
# Mean evidence a pixel within an inch of the line, and the line's spread where it is that good.
CERTAIN_EVIDENCE = 1.0
POOR_EVIDENCE = 0.3
CERTAIN_SE_IN = 0.12
POOR_SE_IN = 1.0
# Of the mean height of litter and clods above the ground, this part is the ground's own uncertainty.
LITTER_SE_SHARE = 0.7
# Of a banded symmetric matrix stored as its diagonal and the two below: the diagonal alone.
DIAGONAL = np.array([[1.0], [0.0], [0.0]])


@dataclass(frozen=True, eq=False)
class GroundLine:
    """The surface as found, in the inches of the frame it was sought in."""

    line_in: Points
    se_in: float
    evidence: float
    """Mean evidence of the pixels beside it, in natural logarithms; 0 says nothing."""


def find_ground_line(
    rgb: NDArray[np.uint8],
    to_photo: NDArray[np.float64],
    lens: Lens | None,
    extent_in: tuple[float, float, float, float],
    hidden_in: list[Points],
) -> GroundLine | None:
    """Find the soil surface in a frame of inches whose z is roughly down.

    Parameters
    ----------
    rgb : ``(H, W, 3)`` the photo.
    to_photo, lens : from that frame to the photo.
    extent_in : x and z of the upper left and lower right corner to look at.
    hidden_in : outlines of what lies before the wall, in the same frame.

    Returns
    -------
    The line, or None where the photo shows no such boundary.
    """
    x0, z0, x1, z1 = extent_in
    fine = SEARCH_PX_PER_IN * TEXTURE_SHRINK
    rows = int((z1 - z0) * SEARCH_PX_PER_IN) * TEXTURE_SHRINK
    columns = int((x1 - x0) * SEARCH_PX_PER_IN) * TEXTURE_SHRINK
    if rows < 60 or columns < 60:
        return None
    features, valid = look_at(rgb, to_photo, lens, Grid(fine, x0, z0, (rows, columns)))
    # The first coarse pixel's centre is that of the middle one of the fine pixels it is made of.
    inner = (TEXTURE_SHRINK - 1) / 2 / fine
    grid = Grid(SEARCH_PX_PER_IN, x0 + inner, z0 + inner, valid.shape)
    for outline in hidden_in:
        cover = np.zeros(valid.shape, dtype=np.uint8)
        cv2.fillPoly(cover, [np.round(grid.to_px(outline)).astype(np.int32)], 1)
        valid &= ~cv2.dilate(cover, np.ones((5, 5), dtype=np.uint8)).astype(bool)
    labels, unlike = both(lambda: kinds(features, valid), lambda: unlike_wall(features, valid))
    first = first_line(features, valid, labels, [grid.to_px(outline) for outline in hidden_in])
    line, evidence = _part(labels, unlike, valid, first.rows)
    if line is None:
        return None
    beside = _evidence_beside(evidence, valid, line)
    top = np.argmax(valid, axis=0)
    seen = line - top > MIN_SEEN_PX
    if seen.mean() < MIN_SEEN_SHARE:
        return None
    z = _smooth(line, seen)
    litter_in = float(np.mean(np.maximum(z - line, 0.0)[seen])) / SEARCH_PX_PER_IN
    z = z + _edge_offset(features, valid, z[seen], np.flatnonzero(seen))
    line_px = np.column_stack([np.arange(valid.shape[1]), z])
    se_in = _se(beside, litter_in)
    if first.open_in > REDRAWN_WITHIN_IN:
        # Another place is open too: two standard errors reach as far as that.
        se_in = max(se_in, first.open_in / 2.0)
    return GroundLine(grid.to_in(line_px), se_in, beside)


def _part(
    labels: NDArray[np.int64], unlike: Floats, valid: NDArray[np.bool_], first: Floats
) -> tuple[NDArray[np.int64] | None, Floats]:
    """The row of the line in each column, near a first straight one, and each pixel's evidence."""
    rows, columns = labels.shape
    line = np.clip(np.round(first), 0, rows - 1).astype(np.int64)
    evidence = unlike
    for _ in range(ROUNDS):
        offset = np.arange(rows)[:, None] - line[None, :]
        above = valid & (offset < -1) & (offset > -LEARN_IN * SEARCH_PX_PER_IN)
        below = valid & (offset > LITTER_IN * SEARCH_PX_PER_IN) & (offset < LEARN_IN * SEARCH_PX_PER_IN)
        if above.sum() < 2 * columns:
            return None, unlike
        evidence = (learned_evidence(labels, above, below) + UNLIKE_WEIGHT * unlike) * valid
        far = np.abs(np.arange(rows)[:, None] - first[None, :]) > REDRAWN_WITHIN_IN * SEARCH_PX_PER_IN
        line = _best_line(np.where(far, 4.0 * np.sign(first[None, :] - np.arange(rows)[:, None]), evidence))
    return line, evidence


def _best_line(evidence: Floats) -> NDArray[np.int64]:
    """The row in each column with most evidence for background above and soil below, without jumps."""
    rows, columns = evidence.shape
    groups = -(-columns // COLUMNS_AT_ONCE)
    padded = np.pad(evidence, ((0, 0), (0, groups * COLUMNS_AT_ONCE - columns)))
    grouped = padded.reshape(rows, groups, COLUMNS_AT_ONCE).sum(axis=2)
    # The gain of a line at a row is the evidence of all pixels above it.
    gain = np.vstack([np.zeros(groups), np.cumsum(grouped, axis=0)])[:rows].T.copy()
    came = np.zeros((groups, rows), dtype=np.int64)
    cost = STEP_COST * np.abs(np.arange(-MAX_STEP, MAX_STEP + 1))[:, None]
    best = np.full(rows + 2 * MAX_STEP, -np.inf)
    best[MAX_STEP:-MAX_STEP] = gain[0]
    # Row ``r``, seen from ``r + step``: all of them at once.
    shifted = np.lib.stride_tricks.sliding_window_view(best, rows)
    for group in range(1, groups):
        options = shifted - cost
        came[group] = options.argmax(axis=0)
        best[MAX_STEP:-MAX_STEP] = options.max(axis=0) + gain[group]
    line = np.zeros(groups, dtype=np.int64)
    line[-1] = int(best[MAX_STEP:-MAX_STEP].argmax())
    for group in range(groups - 1, 0, -1):
        line[group - 1] = line[group] + came[group, line[group]] - MAX_STEP
    return np.repeat(line, COLUMNS_AT_ONCE)[:columns]


def _evidence_beside(evidence: Floats, valid: NDArray[np.bool_], line: NDArray[np.int64]) -> float:
    """Mean evidence within an inch above the line for background and below it for soil; the weaker one."""
    offset = np.arange(evidence.shape[0])[:, None] - line[None, :]
    inch = SEARCH_PX_PER_IN
    above = valid & (offset < -1) & (offset >= -inch)
    below = valid & (offset > 1) & (offset <= inch)
    if above.sum() < len(line) or below.sum() < len(line):
        return 0.0
    return float(min(evidence[above].mean(), -evidence[below].mean()))


def _smooth(line: NDArray[np.int64], seen: NDArray[np.bool_]) -> Floats:
    """The ground under the line: residue and clods stick up from it, stalks cut into it.

    Asymmetric least squares (Eilers 2003, Anal. Chem. 75:3631, from memory):
    minimise sum w (y - z)^2 + stiffness sum (second difference of z)^2, with a
    larger weight where the line lies below the smooth one, less again where it
    lies far below, and none where the surface is above the photo's edge.
    """
    count = len(line)
    y = line.astype(float)
    # A wave of length L is halved in height where stiffness = (L / 2 pi)^4.
    stiffness = (SMOOTH_IN * SEARCH_PX_PER_IN / (2 * np.pi)) ** 4
    penalty = stiffness * _second_differences(count)
    z = y
    for _ in range(10):
        below = (y - z) / SEARCH_PX_PER_IN
        weight = np.where(below > 0, DEEPER_WEIGHT, 1.0 - DEEPER_WEIGHT)
        weight = weight / (1.0 + (np.maximum(below, 0.0) / STALK_DEPTH_IN) ** 2)
        weight = np.where(seen, weight, UNSEEN_WEIGHT)
        z = solveh_banded(penalty + weight * DIAGONAL, weight * y, lower=True)
    return np.asarray(z)


def _second_differences(count: int) -> Floats:
    """``(3, count)`` the matrix of the sum of squared second differences: its diagonal, and two below."""
    bands = np.zeros((3, count))
    for first, factor in enumerate((1.0, -2.0, 1.0)):
        for second, other in enumerate((1.0, -2.0, 1.0)[: first + 1]):
            bands[first - second, second : count - 2 + second] += factor * other
    return bands


def _edge_offset(
    features: NDArray[np.float32], valid: NDArray[np.bool_], z: Floats, columns: NDArray[np.int64]
) -> float:
    """How far from the line, in pixels, colour is half way between background and soil.

    Pixels on the boundary are neither one nor the other, so the line alone may
    lie a pixel or two to one side of it, the same all along.
    """
    offsets = np.arange(-EDGE_REACH_PX, EDGE_REACH_PX + 0.25, 0.5)
    rows = np.clip(z[None, :] + offsets[:, None], 0, valid.shape[0] - 1).astype(np.float32)
    at = np.broadcast_to(columns.astype(np.float32), rows.shape)
    colour = cv2.remap(
        np.ascontiguousarray(features[..., :3]), np.ascontiguousarray(at), rows, cv2.INTER_LINEAR
    )
    end = len(offsets) // 4
    above, below = np.median(colour[:end], axis=(0, 1)), np.median(colour[-end:], axis=(0, 1))
    way = below - above
    profile = np.median((colour - above) @ way, axis=1) / max(float(way @ way), 1e-6)
    beyond = np.flatnonzero(profile >= 0.5)
    return float(np.clip(offsets[beyond[0]] - 0.25, -MAX_OFFSET_PX, MAX_OFFSET_PX)) if len(beyond) else 0.0


def _se(evidence: float, litter_in: float) -> float:
    """Standard error of the line's depth: how telling the pixels beside it are, and what lies on it."""
    by_evidence = np.interp(evidence, [POOR_EVIDENCE, CERTAIN_EVIDENCE], [POOR_SE_IN, CERTAIN_SE_IN])
    return float(np.hypot(by_evidence, LITTER_SE_SHARE * litter_in))

"""A few clicks become a line along the root: the cheapest path over the root map.

Each pixel costs the more the less it looks like root, so the path between two
clicks keeps to the root where there is one and goes nearly straight where
there is none (Dijkstra's algorithm; scikit-image's ``route_through_array``).
"""

from collections.abc import Sequence
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray
from skimage.graph import route_through_array

from rootread.find import RootMap
from rootread.geometry import Points
from rootread.plane import Grid, WallPlane

BARE_COST = 12.0
"""A pixel of bare soil costs as much as so many pixels of sure root."""
MARGIN_IN = 1.5
"""How far to either side of the straight line the root may lead."""
CLICK_IN = 0.1
"""A click lies within this of the root that it means."""
KEPT_IN = 0.1
"""Points of the path that are kept: about this far apart."""
TAKEN_IN = 0.1
"""Width of the strip along a trace that is that root's: a usual root and its edge."""
TAKEN_PART = 0.25
"""Of the likelihood there; not none, since in a bundle roots lie against each other."""
SMOOTHED_PX = 5


def packed(root_map: RootMap) -> bytes:
    """Root probability in 256 steps, as PNG: enough to find a path on, and of little memory."""
    _, content = cv2.imencode(".png", np.rint(255 * root_map.probability).astype(np.uint8))
    return content.tobytes()


def unpacked(content: bytes) -> NDArray[np.uint8]:
    """``(M, N)`` root probability, 255 for sure."""
    picture = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_GRAYSCALE)
    return np.asarray(picture, dtype=np.uint8)


def snap(
    probability: NDArray[np.uint8], grid: Grid, plane: WallPlane, clicks_px: ArrayLike
) -> tuple[Points, float | None]:
    """The path through clicks on the photo, in photo pixels, and the root's visible width in them.

    Parameters
    ----------
    probability : ``(M, N)`` root probability, 255 for sure.
    grid : its pixels.
    clicks_px : ``(K, 2)`` two clicks or more, photo pixels as taken.

    Returns
    -------
    ``(L, 2)`` points; the width is None where the path runs over bare soil.
    """
    clicks = grid.to_px(plane.to_wall_in(clicks_px))
    rows, columns = probability.shape
    clicks = np.clip(clicks, 0, [columns - 1, rows - 1])
    ends = [_onto_root(probability, grid, click) for click in clicks]
    legs = [_leg(probability, grid, start, end) for start, end in pairwise(ends)]
    path = np.concatenate([leg if k == 0 else leg[1:] for k, leg in enumerate(legs)])
    width_px = _width(probability, path)
    kept = _thinned(_smoothed(path), max(round(KEPT_IN * grid.px_per_in), 1))
    photo_px = plane.to_photo_px(grid.to_in(kept))
    return photo_px, None if width_px is None else width_px * plane.scale.px_per_in / grid.px_per_in


def without(probability: NDArray[np.uint8], grid: Grid, traces_in: Sequence[Points]) -> NDArray[np.uint8]:
    """The map with the roots along some lines made faint."""
    taken = np.zeros_like(probability)
    courses = [np.round(grid.to_px(line)).astype(np.int32) for line in traces_in]
    cv2.polylines(taken, courses, False, 1, max(round(TAKEN_IN * grid.px_per_in), 1))
    left = probability.copy()
    left[taken > 0] = (left[taken > 0] * TAKEN_PART).astype(np.uint8)
    return left


def _onto_root(probability: NDArray[np.uint8], grid: Grid, click: Points) -> tuple[int, int]:
    """Row and column of the likeliest root pixel near a click; the click itself on bare soil."""
    column, row = np.round(click).astype(int)
    reach = max(round(CLICK_IN * grid.px_per_in), 1)
    top, left = max(row - reach, 0), max(column - reach, 0)
    window = probability[top : row + reach + 1, left : column + reach + 1].astype(float)
    at = np.indices(window.shape) - np.array([row - top, column - left])[:, None, None]
    # Nearness breaks ties, so that a click in the middle of a root stays there.
    score = window - 40.0 * np.hypot(*at) / reach
    if window.max() < 64:
        return int(row), int(column)
    best = np.unravel_index(int(score.argmax()), score.shape)
    return int(top + best[0]), int(left + best[1])


def _leg(
    probability: NDArray[np.uint8], grid: Grid, start: tuple[int, int], end: tuple[int, int]
) -> NDArray[np.float64]:
    """``(L, 2)`` columns and rows from one place to the next, both included."""
    margin = round(MARGIN_IN * grid.px_per_in)
    low = np.maximum(np.minimum(start, end) - margin, 0)
    high = np.maximum(start, end) + margin + 1
    window = probability[low[0] : high[0], low[1] : high[1]].astype(float) / 255
    cost = 1.0 + (BARE_COST - 1.0) * (1.0 - window) ** 2
    path, _ = route_through_array(cost, np.subtract(start, low), np.subtract(end, low), geometric=True)
    return (np.array(path, dtype=float) + low)[:, ::-1]


def _smoothed(path: NDArray[np.float64]) -> NDArray[np.float64]:
    """The path freed of pixel steps by a running mean; its ends stay."""
    half = SMOOTHED_PX // 2
    if len(path) <= SMOOTHED_PX:
        return path
    kernel = np.full(SMOOTHED_PX, 1 / SMOOTHED_PX)
    middle = np.column_stack([np.convolve(path[:, k], kernel, mode="valid") for k in (0, 1)])
    return np.concatenate([path[:1], middle[half:-half] if len(middle) > 2 * half else middle, path[-1:]])


def _thinned(path: NDArray[np.float64], every: int) -> NDArray[np.float64]:
    keep = np.zeros(len(path), dtype=bool)
    keep[::every] = True
    keep[-1] = True
    return path[keep]


def _width(probability: NDArray[np.uint8], path: NDArray[np.float64]) -> float | None:
    """Median extent of likely root square across the path, in grid pixels."""
    step = max(len(path) // 40, 1)
    heading = np.gradient(path, axis=0) if len(path) > 1 else np.zeros_like(path)
    rows, columns = probability.shape
    widths = []
    for (x, y), (dx, dy) in zip(path[::step], heading[::step], strict=True):
        norm = float(np.hypot(dx, dy))
        if norm == 0 or probability[int(y), int(x)] < 128:
            continue
        across = np.array([-dy, dx]) / norm
        reach = np.arange(1, 40)[:, None]
        width = 1.0
        for side in (-1, 1):
            at = np.round([x, y] + side * reach * across).astype(int)
            inside = (at >= 0).all(axis=1) & (at[:, 0] < columns) & (at[:, 1] < rows)
            at = at[inside]
            bare = np.flatnonzero(probability[at[:, 1], at[:, 0]] < 128)
            width += float(bare[0]) if len(bare) else len(at)
        widths.append(width)
    return float(np.median(widths)) if len(widths) * step > len(path) / 2 else None

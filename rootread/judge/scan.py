"""Do diversions gather at a depth more than chance would have it?

Kulldorff's scan statistic (Communications in Statistics 26:1481-1496, 1997;
from memory) over windows of depth and of width along the wall. Under the null
hypothesis a root is diverted just as well at any depth that it covers, so
every event is moved to a random depth within its own root's reach, with the
root's x there. A trace that begins in mid-wall is a lateral or a piece of a
root whose way is not known; it is moved to any depth in proportion to how many
roots of the wall cover that depth. So each random wall has as many roots at
each depth as the true one. The largest statistic of all windows is compared
with the largest of each random wall, which corrects for having looked everywhere.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points
from rootread.judge.diversions import Diversion

DEPTH_BIN_IN = 0.2
X_BINS = 6
"""Widths scanned run from a third of the rooted wall to all of it, in sixths."""
NARROWEST_BINS = 2
SEEN_FROM_IN = 3.0
"""A trace that begins above this depth is followed from where it came in; its reach is its own."""
FROM_TOP_IN = 1.0
"""No run counts above this depth, so none is moved there."""
COVER_BLUR_IN = 1.0
"""The number of roots at a depth is averaged over this much."""
FEWEST_EVENTS = 3
"""Two roots that happen to turn at one depth are no layer, however few turn elsewhere."""
HEIGHTS_BINS = (4, 8)
"""Heights of window, 0.8 and 1.6 in: roots at one level layer, and at one that slopes or undulates."""


@dataclass(frozen=True)
class Gathering:
    """The window in which diversions gather most, and how often chance gathers them as much."""

    z_from_in: float
    z_to_in: float
    x_from_in: float
    x_to_in: float
    statistic: float
    p_value: float


@dataclass(frozen=True, eq=False)
class _Chances:
    """For each event, where it is and where it could as well have been."""

    own: NDArray[np.intp]
    """``(events,)`` depth bin."""
    chance: NDArray[np.float64]
    """``(events, depth bins)`` rows sum to 1."""
    x_bin: NDArray[np.intp]
    """``(events, depth bins)``."""

    def draw(self, walls: int, rng: np.random.Generator) -> NDArray[np.intp]:
        """``(walls, events)`` random depth bins."""
        at = rng.random((len(self.own), walls))
        summed = np.cumsum(self.chance, axis=1)
        drawn = [np.searchsorted(row, u * row[-1], side="right") for row, u in zip(summed, at, strict=True)]
        return np.stack(drawn, axis=1)


def strongest_gathering(
    events: Sequence[Diversion],
    centrelines: Sequence[Points],
    x_range_in: tuple[float, float],
    permutations: int,
    rng: np.random.Generator,
) -> Gathering | None:
    """The window where events exceed their expectation most; None with fewer than three events.

    Parameters
    ----------
    events : diversions, with ``root`` an index into ``centrelines``.
    centrelines : ``(N, 2)`` points of each root.
    x_range_in : left and right end of the rooted wall.
    permutations : how many random walls to compare with.
    """
    if len(events) < FEWEST_EVENTS:
        return None
    depth_bins = int(max(line[:, 1].max() for line in centrelines) / DEPTH_BIN_IN) + 1
    chances = _chances(events, centrelines, x_range_in, depth_bins)
    expected = _windows(_expected_per_cell(chances))

    def excess(depth_bin: NDArray[np.intp]) -> NDArray[np.float64]:
        x_bin = chances.x_bin[np.arange(len(events)), depth_bin]
        return _excess(_windows(_cells(depth_bin, x_bin, depth_bins)), expected)

    found = excess(chances.own[None])[0]
    by_chance = excess(chances.draw(permutations, rng)).reshape(permutations, -1).max(axis=1)

    best = np.unravel_index(int(np.argmax(found)), found.shape)
    height, (x_first, x_past) = _window_shapes()[int(best[0])]
    width_in = (x_range_in[1] - x_range_in[0]) / X_BINS
    return Gathering(
        z_from_in=float(best[1] * DEPTH_BIN_IN),
        z_to_in=float((best[1] + height) * DEPTH_BIN_IN),
        x_from_in=x_range_in[0] + x_first * width_in,
        x_to_in=x_range_in[0] + x_past * width_in,
        statistic=float(found[best]),
        p_value=float((1 + (by_chance >= found[best]).sum()) / (1 + permutations)),
    )


def _x_bin(x_in: NDArray[np.float64], x_range_in: tuple[float, float]) -> NDArray[np.intp]:
    left, right = x_range_in
    return np.clip((x_in - left) / max(right - left, 1e-9) * X_BINS, 0, X_BINS - 1).astype(np.intp)


def _chances(
    events: Sequence[Diversion],
    centrelines: Sequence[Points],
    x_range_in: tuple[float, float],
    depth_bins: int,
) -> _Chances:
    middles_in = (np.arange(depth_bins) + 0.5) * DEPTH_BIN_IN
    ways = [_way_down(line) for line in centrelines]
    covered = np.array([(middles_in >= z[0]) & (middles_in <= z[-1]) for _, z in ways], dtype=float)
    blur = round(COVER_BLUR_IN / DEPTH_BIN_IN)
    anywhere = np.convolve(covered.sum(axis=0), np.ones(blur) / blur, mode="same") * (
        middles_in > FROM_TOP_IN
    )
    owns, rows, x_bins = [], [], []
    for event in events:
        x, z = ways[event.root]
        own = int(np.clip(event.depth_in / DEPTH_BIN_IN, 0, depth_bins - 1))
        row = covered[event.root] * (middles_in > FROM_TOP_IN) if z[0] <= SEEN_FROM_IN else anywhere
        row = row.copy()
        row[own] = max(row[own], row.max(), 1e-9)
        owns.append(own)
        rows.append(row / row.sum())
        x_bins.append(_x_bin(np.interp(middles_in, z, x), x_range_in))
    return _Chances(np.array(owns), np.array(rows), np.array(x_bins))


def _way_down(line: Points) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """x and depth of a root where it first gets to each depth, depth rising."""
    if line[-1, 1] < line[0, 1]:
        line = line[::-1]
    deepest = np.maximum.accumulate(line[:, 1])
    gains = np.concatenate([[True], np.diff(deepest) > 0])
    return line[gains, 0], deepest[gains]


def _expected_per_cell(chances: _Chances) -> NDArray[np.float64]:
    """``(1, depth bins, x bins)`` events to expect."""
    columns = [(chances.chance * (chances.x_bin == column)).sum(axis=0) for column in range(X_BINS)]
    return np.stack(columns, axis=-1)[None]


def _cells(z: NDArray[np.intp], x: NDArray[np.intp], depth_bins: int) -> NDArray[np.float64]:
    """``(walls, depth bins, x bins)`` counts from ``(walls, events)`` bins."""
    wall = np.arange(len(z))[:, None]
    flat = (wall * depth_bins + z) * X_BINS + x
    return (
        np.bincount(flat.ravel(), minlength=len(z) * depth_bins * X_BINS)
        .reshape(-1, depth_bins, X_BINS)
        .astype(float)
    )


def _window_shapes() -> list[tuple[int, tuple[int, int]]]:
    spans = [(a, b) for a in range(X_BINS) for b in range(a + NARROWEST_BINS, X_BINS + 1)]
    return [(height, span) for height in HEIGHTS_BINS for span in spans]


def _windows(cells: NDArray[np.float64]) -> NDArray[np.float64]:
    """Sums over every window: ``(walls, depth bins, x bins)`` to ``(walls, shapes, starts)``."""
    summed = np.zeros((cells.shape[0], cells.shape[1] + max(HEIGHTS_BINS) + 1, X_BINS + 1), dtype=np.float32)
    summed[:, 1 : cells.shape[1] + 1, 1:] = cells.cumsum(axis=1).cumsum(axis=2)
    summed[:, cells.shape[1] + 1 :] = summed[:, cells.shape[1], None]
    starts = np.arange(cells.shape[1])
    return np.stack(
        [
            (summed[:, starts + height, b] - summed[:, starts + height, a])
            - (summed[:, starts, b] - summed[:, starts, a])
            for height, (a, b) in _window_shapes()
        ],
        axis=1,
    )


def _excess(counts: NDArray[np.float64], expected: NDArray[np.float64]) -> NDArray[np.float64]:
    """Poisson log likelihood ratio of each window, ``k ln(k/E) - (k - E)`` where k > E, else 0.

    Windows with too few events to be called a layer count as 0 too, in the wall and in every permutation.
    """
    expected = np.maximum(expected, 1e-3)
    more = (counts > expected) & (counts >= FEWEST_EVENTS)
    k = np.where(more, counts, 1.0)
    return np.where(more, k * np.log(k / expected) - (counts - expected), 0.0)

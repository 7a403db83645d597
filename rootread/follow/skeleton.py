"""The one-pixel skeleton of the root mask, taken apart into chains of pixels.

Chains run between meeting pixels (three or more neighbours) and free ends.
All work is on the list of skeleton pixels, so it grows with root length.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components, dijkstra
from skimage.morphology import skeletonize

from rootread.geometry import Points
from rootread.threads import share_out

BANDS = 4
REACH_PX = 16
"""What is thinner than its pixels may still lose a layer or two."""


@dataclass(frozen=True, eq=False)
class Chains:
    """The skeleton's chains and the places where they meet."""

    chains: list[NDArray[np.int64]]
    """Each ``(K, 2)``: columns and rows of one chain's pixels, in order."""
    meetings: list[tuple[int, int]]
    """For each chain the meeting at its first and last pixel; -1 where free."""
    centres_px: Points
    """``(J, 2)`` column and row of each meeting, the mean of its pixels."""


def skeleton_chains(mask: NDArray[np.bool_], radius_px: float) -> Chains:
    """Skeletonize an ``(M, N)`` mask, nowhere thicker than ``radius_px`` to each side, and take it apart."""
    row, col = np.divmod(np.flatnonzero(thinned(mask, radius_px)), mask.shape[1])
    first, second = _neighbours(row, col, mask.shape)
    count = len(row)
    degree = np.bincount(np.concatenate([first, second]), minlength=count)
    meets = degree >= 3

    both_meet = meets[first] & meets[second]
    _, meeting_of = _components(first[both_meet], second[both_meet], count)
    names, meeting_of_meeting_pixels = np.unique(meeting_of[meets], return_inverse=True)
    meeting_of = np.full(count, -1)
    meeting_of[meets] = meeting_of_meeting_pixels
    size = np.bincount(meeting_of_meeting_pixels, minlength=len(names))
    centres = np.column_stack(
        [
            np.bincount(meeting_of_meeting_pixels, v[meets], len(names)) / np.maximum(size, 1)
            for v in (col, row)
        ]
    )

    in_chain = ~meets[first] & ~meets[second]
    chain_of, along = _order_along_chains(first[in_chain], second[in_chain], count)
    pixels = np.flatnonzero(~meets)
    pixels = pixels[np.lexsort((along[pixels], chain_of[pixels]))]
    starts = np.flatnonzero(np.diff(chain_of[pixels], prepend=-1))
    members = np.split(pixels, starts[1:]) if len(pixels) else []

    touches: dict[int, list[int]] = {}
    for a, b in ((first, second), (second, first)):
        touching = ~meets[a] & meets[b]
        for pixel, meeting in zip(a[touching].tolist(), meeting_of[b[touching]].tolist(), strict=True):
            touches.setdefault(pixel, []).append(meeting)
    chains, meetings = [], []
    for chain in members:
        head, tail = touches.get(int(chain[0]), []), touches.get(int(chain[-1]), [])
        if len(chain) == 1:
            head, tail = head[:1], head[1:2]
        chains.append(np.column_stack([col[chain], row[chain]]))
        meetings.append((head[0] if head else -1, tail[0] if tail else -1))
    return Chains(chains, meetings, centres)


def thinned(mask: NDArray[np.bool_], radius_px: float) -> NDArray[np.bool_]:
    """``(M, N)`` the one-pixel skeleton, worked in bands of rows, which the cores share.

    Each pass of thinning (Zhang and Suen 1984, from memory) takes a layer off and looks two pixels far, so
    that pixels farther off than twice the layers that there are change nothing; twice that, to be sure.
    """
    rows = len(mask)
    reach = int(4 * radius_px) + REACH_PX
    edges = np.linspace(0, rows, max(1, min(BANDS, rows // (2 * reach))) + 1).astype(int)
    thin = np.empty_like(mask)

    def work(band: tuple[int, int]) -> None:
        top, bottom = band
        first = max(top - reach, 0)
        thin[top:bottom] = skeletonize(mask[first : bottom + reach])[top - first : bottom - first]

    share_out(work, list(pairwise(edges.tolist())))
    return thin


def _neighbours(
    row: NDArray[np.int64], col: NDArray[np.int64], shape: tuple[int, ...]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Pairs of touching skeleton pixels; corner contacts only where no side contact links the two."""
    place = np.full((shape[0] + 2, shape[1] + 2), -1, dtype=np.int32)
    place[row + 1, col + 1] = np.arange(len(row))
    firsts, seconds = [], []
    for down, right in ((0, 1), (1, 0), (1, 1), (1, -1)):
        other = place[row + 1 + down, col + 1 + right]
        touching = other >= 0
        if down and right:
            linked = (place[row + 1 + down, col + 1] >= 0) | (place[row + 1, col + 1 + right] >= 0)
            touching &= ~linked
        firsts.append(np.flatnonzero(touching))
        seconds.append(other[touching].astype(np.int64))
    return np.concatenate(firsts), np.concatenate(seconds)


def _components(
    first: NDArray[np.int64], second: NDArray[np.int64], count: int
) -> tuple[int, NDArray[np.int64]]:
    links = coo_array((np.ones(len(first), dtype=np.int8), (first, second)), shape=(count, count))
    number, label = connected_components(links.tocsr(), directed=False)
    return number, label.astype(np.int64)


def _order_along_chains(
    first: NDArray[np.int64], second: NDArray[np.int64], count: int
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """For every pixel the chain it is in, and how many steps along it.

    A chain's pixels have one or two neighbours in it, so the distance from one
    of its ends, in steps, is the order. A closed ring is opened at its first pixel.
    """
    number, chain_of = _components(first, second, count)
    degree = np.bincount(np.concatenate([first, second]), minlength=count)
    start = np.full(number, -1)
    for pixels in (np.arange(count), np.flatnonzero(degree < 2)):  # ends overwrite arbitrary pixels
        start[chain_of[pixels][::-1]] = pixels[::-1]
    if count == 0:
        return chain_of, np.zeros(0)
    opened = _opened(first, second, chain_of, start[degree[start] == 2])
    links = coo_array((np.ones(int(opened.sum())), (first[opened], second[opened])), shape=(count, count))
    along = dijkstra(links.tocsr(), directed=False, indices=start, unweighted=True, min_only=True)
    return chain_of, along


def _opened(
    first: NDArray[np.int64], second: NDArray[np.int64], chain_of: NDArray[np.int64], start: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """``(L,)`` links without one at the starting pixel of each ring, round which steps would go both ways."""
    kept = np.ones(len(first), dtype=bool)
    at_start = np.flatnonzero(np.isin(first, start) | np.isin(second, start))
    _, one_each = np.unique(chain_of[first[at_start]], return_index=True)
    kept[at_start[one_each]] = False
    return kept

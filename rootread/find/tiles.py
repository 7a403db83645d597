"""A network over a picture of any size, in tiles that overlap so far that no seam can be told.

An output pixel depends on input within the network's field of view only.
Tiles begin at whole strides of the network and overlap by that field on each
side, so that each pixel is computed as if the picture were in one piece, and
memory does not grow with the photo.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import pairwise
from types import EllipsisType
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.find.session import Answer
from rootread.threads import share_out

STRIDE_PX = 32
"""The deepest level of the network sees one pixel in 32."""
VIEW_PX = 160
"""The field of view reaches this far: farther input changes nothing (a test measures it)."""
TILE_PX = 1632
"""Longest side of a tile without its overlap. Tiles go to the cores side by side: a wall wider than this
has at least one for each of two cores; larger tiles take as long and more memory."""

Image = NDArray[np.float32]
Run = Callable[[NDArray[np.uint8]], Answer]
"""From an ``(m, n, 3)`` picture; several may be asked for at once."""
Tile = tuple[int, int, int, int]
"""Its first row and the one after its last, then the same of columns."""


@dataclass(frozen=True, eq=False)
class RawMap:
    """What the network says of a picture of ``(M, N)`` pixels."""

    logit: Image
    """``(M, N)`` log odds that the pixel shows a root."""
    cos2: Image
    """``(ceil(M/2), ceil(N/2))`` cosine of twice the root's direction, columns to rows."""
    sin2: Image
    log_half_width_px: Image
    deep: NDArray[np.uint8]
    """``(ceil(M/32), ceil(N/32), F)`` the deepest features, which tell what kind of picture this is."""


def run_in_tiles(rgb: NDArray[np.uint8], run: Run, tile_px: int = TILE_PX) -> RawMap:
    """The network over ``(M, N, 3)`` sRGB of any size."""
    rows, columns = rgb.shape[:2]
    bottom, right = -rows % STRIDE_PX, -columns % STRIDE_PX
    padded = cv2.copyMakeBorder(rgb, 0, bottom, 0, right, cv2.BORDER_REPLICATE)
    logit = np.empty(padded.shape[:2], np.float32)
    shape = np.empty((3, padded.shape[0] // 2, padded.shape[1] // 2), np.float32)

    def look(tile: Tile) -> NDArray[np.uint8]:
        # The tile with the field of view around it, as far as there is picture.
        top, bottom, left, right = tile
        y0, x0 = max(top - VIEW_PX, 0), max(left - VIEW_PX, 0)
        found = run(padded[y0 : bottom + VIEW_PX, x0 : right + VIEW_PX])

        def inner(values: NDArray[Any], step: int) -> NDArray[Any]:
            rows = slice((top - y0) // step, (bottom - y0) // step)
            return values[..., rows, (left - x0) // step : (right - x0) // step]

        logit[_place(tile, 1)] = inner(found.logit, 1)
        shape[_place(tile, 2)] = inner(found.shape, 2)
        deep_piece: NDArray[np.uint8] = inner(found.deep, STRIDE_PX).copy()
        return deep_piece

    tiles = [
        (*down, *across)
        for down in _spans(padded.shape[0], tile_px)
        for across in _spans(padded.shape[1], tile_px)
    ]
    pieces = share_out(look, tiles)  # there is always a first tile
    deep = np.empty((len(pieces[0]), *(side // STRIDE_PX for side in padded.shape[:2])), np.uint8)
    for tile, piece in zip(tiles, pieces, strict=True):
        deep[_place(tile, STRIDE_PX)] = piece
    half_rows, half_columns = (rows + 1) // 2, (columns + 1) // 2
    cos2, sin2, log_width = shape[:, :half_rows, :half_columns]
    return RawMap(logit[:rows, :columns], cos2, sin2, log_width, np.moveaxis(deep, 0, -1))


def _place(tile: Tile, step: int) -> tuple[EllipsisType, slice, slice]:
    """Where a tile lies in a picture that has one value for every ``step`` pixels each way."""
    top, bottom, left, right = (edge // step for edge in tile)
    return ..., slice(top, bottom), slice(left, right)


def _spans(length: int, tile_px: int) -> Iterable[tuple[int, int]]:
    """Equal spans of whole strides, none longer than ``tile_px``."""
    strides = length // STRIDE_PX
    count = max(1, -(-length // tile_px))
    edges = [round(k * strides / count) * STRIDE_PX for k in range(count + 1)]
    return pairwise(edges)

"""A network over a picture of any size, in tiles that overlap so far that no seam can be told.

An output pixel depends on input within the network's field of view only.
Tiles begin at whole strides of the network and overlap by that field on each
side, so that each pixel is computed as if the picture were in one piece, and
memory does not grow with the photo.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.find.session import Answer

STRIDE_PX = 32
"""The deepest level of the network sees one pixel in 32."""
VIEW_PX = 160
"""The field of view reaches this far: farther input changes nothing (a test measures it)."""
TILE_PX = 2048
"""Longest side of a tile without its overlap: a 7-megapixel wall in two pieces holds a quarter of a gigabyte
less than in one, for a tenth of a second more."""

Image = NDArray[np.float32]
Run = Callable[[Image], Answer]
"""From a ``(1, 3, m, n)`` picture."""


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
    deep: NDArray[np.uint8] | None = None
    for top, bottom_row in _spans(padded.shape[0], tile_px):
        for left, right_column in _spans(padded.shape[1], tile_px):
            # The tile with the field of view around it, as far as there is picture.
            y0, x0 = max(top - VIEW_PX, 0), max(left - VIEW_PX, 0)
            y1, x1 = bottom_row + VIEW_PX, right_column + VIEW_PX
            found = run(blob_of(padded[y0:y1, x0:x1]))
            if deep is None:
                deep = np.empty(
                    (len(found.deep), *(side // STRIDE_PX for side in padded.shape[:2])), np.uint8
                )
            for whole, tile, step in (
                (logit, found.logit, 1),
                (shape, found.shape, 2),
                (deep, found.deep, STRIDE_PX),
            ):
                inner = np.s_[
                    ...,
                    (top - y0) // step : (bottom_row - y0) // step,
                    (left - x0) // step : (right_column - x0) // step,
                ]
                whole[..., top // step : bottom_row // step, left // step : right_column // step] = tile[
                    inner
                ]
    assert deep is not None  # there is always a first tile
    half_rows, half_columns = (rows + 1) // 2, (columns + 1) // 2
    cos2, sin2, log_width = shape[:, :half_rows, :half_columns]
    return RawMap(logit[:rows, :columns], cos2, sin2, log_width, np.moveaxis(deep, 0, -1))


def _spans(length: int, tile_px: int) -> Iterable[tuple[int, int]]:
    """Equal spans of whole strides, none longer than ``tile_px``."""
    strides = length // STRIDE_PX
    count = max(1, -(-length // tile_px))
    edges = [round(k * strides / count) * STRIDE_PX for k in range(count + 1)]
    return pairwise(edges)


def blob_of(rgb: NDArray[np.uint8]) -> Image:
    """``(1, 3, m, n)`` values 0 to 1."""
    return cv2.dnn.blobFromImage(np.ascontiguousarray(rgb), 1 / 255.0)

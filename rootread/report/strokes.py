"""Anti-aliased lines on a picture, placed to a sixteenth of a pixel."""

from collections.abc import Iterable, Iterator
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points, arc_length
from rootread.report.colours import RGB

Picture = NDArray[np.uint8]

_SUBPIXEL_BITS = 4


def stroke(picture: Picture, lines: Iterable[Points], colour: RGB, width_px: int) -> None:
    """Draw ``(N, 2)`` polylines, column and row, onto the picture."""
    whole = [
        np.round(line * 2**_SUBPIXEL_BITS).astype(np.int32).reshape(-1, 1, 2)
        for line in lines
        if len(line) > 1
    ]
    cv2.polylines(picture, whole, False, colour, width_px, cv2.LINE_AA, _SUBPIXEL_BITS)


def veil(picture: Picture, lines: Iterable[Points], colour: RGB, width_px: int, opacity: float) -> None:
    """Draw polylines through which the photo still shows."""
    lines = list(lines)
    if not lines:
        return
    above = picture.copy()
    stroke(above, lines, colour, width_px)
    cv2.addWeighted(above, opacity, picture, 1 - opacity, 0, picture)


def dashed(line: Points, dash_px: float, gap_px: float) -> Iterator[Points]:
    """The dashes of a polyline, the first one at its start."""
    along = arc_length(line)
    for start in np.arange(0.0, along[-1], dash_px + gap_px):
        end = min(start + dash_px, along[-1])
        inner = line[(along > start) & (along < end)]
        ends = [[np.interp(at, along, line[:, k]) for k in (0, 1)] for at in (start, end)]
        yield np.vstack([ends[0], inner, ends[1]])


def stretches(rows: NDArray[Any]) -> Iterator[tuple[int, int]]:
    """Where consecutive rows of an ``(N, K)`` array are equal: first and last index of each stretch."""
    changes = (np.flatnonzero((rows[1:] != rows[:-1]).any(axis=1)) + 1).tolist()
    yield from zip([0, *changes], [change - 1 for change in [*changes, len(rows)]], strict=True)

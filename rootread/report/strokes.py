"""Marks are drawn on a clear sheet, as on tracing film, which is then laid over the photo.

A sheet is ``(H, W, 4)``: colour already multiplied by its opacity, and the
opacity. So one drawing serves the picture that is printed and the page, where
the marks can be lifted off. Lines are anti-aliased and placed to a sixteenth
of a pixel.
"""

from collections.abc import Iterable, Iterator
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points, arc_length
from rootread.report.colours import RGB

Picture = NDArray[np.uint8]
"""``(H, W, 3)`` sRGB."""
Sheet = NDArray[np.uint8]
"""``(H, W, 4)`` sRGB times opacity, and opacity."""

_SUBPIXEL_BITS = 4
FAR_PX = 1e6
"""Hundreds of pictures away; what is farther, or not finite, is not drawn."""


def clear_sheet(width_px: int, height_px: int) -> Sheet:
    """A sheet with nothing on it."""
    return np.zeros((height_px, width_px, 4), np.uint8)


def lay_over(sheet: Sheet, picture: Picture) -> Picture:
    """The picture seen through the sheet."""
    clear = cv2.cvtColor(255 - sheet[:, :, 3], cv2.COLOR_GRAY2RGB)
    return cv2.add(cv2.cvtColor(sheet, cv2.COLOR_RGBA2RGB), cv2.multiply(picture, clear, scale=1 / 255))


def opaque(colour: RGB) -> tuple[int, int, int, int]:
    """A colour of full opacity, for a sheet."""
    return (*colour, 255)


def stroke(sheet: Sheet, lines: Iterable[Points], colour: RGB, width_px: int) -> None:
    """Draw ``(N, 2)`` polylines, column and row, onto the sheet; what lies far off it is left out."""
    whole = [
        np.round(piece * 2**_SUBPIXEL_BITS).astype(np.int32).reshape(-1, 1, 2)
        for line in lines
        for piece in _near(line)
        if len(piece) > 1
    ]
    cv2.polylines(sheet, whole, False, opaque(colour), width_px, cv2.LINE_AA, _SUBPIXEL_BITS)


def _near(line: Points) -> list[Points]:
    """The pieces of a line that can be drawn: a place beyond the wall's horizon lies nowhere in a picture."""
    near = np.all(np.abs(line) < FAR_PX, axis=1)
    if near.all():
        return [line]
    return [line[first : last + 1] for first, last in stretches(near[:, np.newaxis]) if near[first]]


def veil(sheet: Sheet, lines: Iterable[Points], colour: RGB, width_px: int, opacity: float) -> None:
    """Draw polylines through which what lies below still shows."""
    lines = [piece for line in lines for piece in _near(line)]
    if not lines:
        return
    # Only the rows that the lines reach: of a whole sheet each copy takes longer than most lines.
    rows_px = np.concatenate(lines)[:, 1]
    first = max(int(rows_px.min()) - width_px, 0)
    part = sheet[first : max(int(rows_px.max()) + width_px + 2, first)]
    if part.size == 0:
        return
    above = part.copy()
    stroke(above, [line - [0, first] for line in lines], colour, width_px)
    cv2.addWeighted(above, opacity, part, 1 - opacity, 0, part)


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

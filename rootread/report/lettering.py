"""Letters on pictures: wrapping, and labels that keep off the roots."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import cv2
import numpy as np
from PIL import Image, ImageDraw

from rootread.geometry import Points
from rootread.report.colours import RGB
from rootread.report.faces import Face
from rootread.report.strokes import Sheet, opaque

_PAD_PX = 11
# Left and right of a label, so that the ticks of depth at the photo's edges stay in sight.
_SIDE_PX, _END_PX = 42, 6
_LINE_SPACING = 1.22
_ROOT_CELL_PX = 8
# A place further down the list is taken only if it covers this much less of the roots.
_LATER_COSTS = 0.002
# Where a line may end: not between a number and its unit.
_BREAK = re.compile(r"(?<!\d)\s+|(?<=\d)\s+(?!(?:%|in|cm|px)(?!\w))")


class Measured(Protocol):
    """A font, or a ``Face``."""

    def getlength(self, text: str, /) -> float:
        """Width of a text in pixels."""
        ...


def wrap(text: str, face: Measured, width_px: float, max_lines: int) -> list[str]:
    """Break a sentence into lines no wider than ``width_px``; what does not fit ends in an ellipsis."""
    lines: list[str] = []
    for word in filter(None, _BREAK.split(text.strip())):
        if lines and face.getlength(f"{lines[-1]} {word}") <= width_px:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    kept = [shorten(line, face, width_px) for line in lines[:max_lines]]
    if len(lines) > max_lines:
        kept[-1] = shorten(kept[-1] + " …", face, width_px)
    return kept


def shorten(text: str, face: Measured, width_px: float) -> str:
    """The text, cut to ``width_px`` with an ellipsis."""
    if face.getlength(text) <= width_px:
        return text
    text = text.rstrip("… ")
    while text and face.getlength(text + "…") > width_px:
        text = text[:-1]
    return text.rstrip() + "…"


class _Box(NamedTuple):
    left: float
    top: float
    right: float
    bottom: float


@dataclass(frozen=True)
class Label:
    """A plate with text on it, its top left corner at ``x``, ``y`` of the picture."""

    x: int
    y: int
    width: int
    height: int
    text: str
    size_px: int
    ink: RGB
    plate: RGB
    opacity: float

    @property
    def centre(self) -> tuple[float, float]:
        """Its middle."""
        return self.x + self.width / 2, self.y + self.height / 2

    @property
    def box(self) -> _Box:
        """Its edges."""
        return _Box(self.x, self.y, self.x + self.width, self.y + self.height)


class LabelRoom:
    """Where labels may go: not on one another, not off the photo, and rather not on roots and other lines."""

    def __init__(
        self, size_px: tuple[int, int], left_px: int, roots_px: Points, keep_clear_px: Sequence[Points]
    ) -> None:
        """Empty room.

        ``size_px`` is where the photo ends to the right and below, ``left_px``
        where it starts; ``roots_px`` are ``(N, 2)`` points on roots and other lines, and
        ``keep_clear_px`` outlines that no label may touch.
        """
        self.width, self.height = size_px
        self.left = left_px
        self.labels: list[Label] = []
        self._clear = [_Box(*outline.min(axis=0), *outline.max(axis=0)) for outline in keep_clear_px]
        cells = np.zeros((self.height // _ROOT_CELL_PX + 1, self.width // _ROOT_CELL_PX + 1), np.uint8)
        at = (roots_px / _ROOT_CELL_PX).astype(int)
        inside = (at >= 0).all(axis=1) & (at[:, 1] < cells.shape[0]) & (at[:, 0] < cells.shape[1])
        cells[at[inside, 1], at[inside, 0]] = 1
        self._covered = cv2.integral(cells)

    def place(
        self,
        text: str,
        near_px: list[tuple[float, float]],
        *,
        size_px: int,
        ink: RGB,
        plate: RGB,
        opacity: float = 0.82,
        most_roots: float = 1.0,
        leads_to_px: float | None = None,
    ) -> Label | None:
        """Put a label with its centre near one of ``near_px``, the earlier the better.

        Lines of ``text`` are parted by line breaks. Returns None, and places
        nothing, when none is free or all would cover roots over more than the
        share ``most_roots`` of the plate. With ``leads_to_px``, the row that a
        leader straight up or down from the label will end at, the leader too
        keeps off other labels, and later ones off it.
        """
        face = Face(size_px)
        lines = text.split("\n")
        width = int(max(face.getlength(line) for line in lines)) + 2 * _PAD_PX
        height = round(_LINE_SPACING * size_px * len(lines)) + _PAD_PX
        best: tuple[float, Label] | None = None
        for order, (x, y) in enumerate(near_px):
            leftmost, rightmost = self.left + _SIDE_PX, self.width - width - _SIDE_PX
            left = int(np.clip(x - width / 2, leftmost, max(rightmost, leftmost)))
            top = int(np.clip(y - height / 2, _END_PX, max(self.height - height - _END_PX, _END_PX)))
            label = Label(left, top, width, height, text, size_px, ink, plate, opacity)
            share = self._root_share(label)
            taken = [*self._clear, *(other.box for other in self.labels)]
            boxes = [label.box] if leads_to_px is None else [label.box, _leader(label, leads_to_px)]
            if share > most_roots or any(_overlap(box, other) for box in boxes for other in taken):
                continue
            cost = share + _LATER_COSTS * order
            if best is None or cost < best[0]:
                best = cost, label
        if best is None:
            return None
        if leads_to_px is not None:
            self._clear.append(_leader(best[1], leads_to_px))
        self.labels.append(best[1])
        return best[1]

    def _root_share(self, label: Label) -> float:
        x0, x1 = label.x // _ROOT_CELL_PX, (label.x + label.width) // _ROOT_CELL_PX
        y0, y1 = label.y // _ROOT_CELL_PX, (label.y + label.height) // _ROOT_CELL_PX
        rows, columns = self._covered.shape
        x1, y1 = min(x1, columns - 1), min(y1, rows - 1)
        table = self._covered
        inside = int(table[y1, x1]) - int(table[y0, x1]) - int(table[y1, x0]) + int(table[y0, x0])
        return inside / max((x1 - x0) * (y1 - y0), 1)


def draw_labels(sheet: Sheet, labels: list[Label]) -> None:
    """Draw labels onto the sheet, in place; plates let a little of what lies below through."""
    for label in labels:
        area = sheet[label.y : label.y + label.height, label.x : label.x + label.width]
        plate = np.round(label.opacity * np.array(opaque(label.plate)) + (1 - label.opacity) * area)
        image = Image.fromarray(plate.astype(np.uint8))
        draw = ImageDraw.Draw(image)
        lines = label.text.split("\n")
        for number, line in enumerate(lines):
            row = label.height / 2 + _LINE_SPACING * label.size_px * (number - (len(lines) - 1) / 2)
            Face(label.size_px).write(draw, (label.width / 2, row), line, label.ink, anchor="mm")
        area[:] = np.asarray(image)


def _leader(label: Label, row: float) -> _Box:
    x, y = label.centre
    return _Box(x, min(y, row), x, max(y, row))


def _overlap(one: _Box, other: _Box, gap_px: int = 5) -> bool:
    return (
        one.left < other.right + gap_px
        and other.left < one.right + gap_px
        and one.top < other.bottom + gap_px
        and other.top < one.bottom + gap_px
    )

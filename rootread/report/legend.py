"""How to read the marks: the descent scale and a sample of each kind of line in the picture."""

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, ImageDraw

from rootread.measure.types import PatternBand
from rootread.report.colours import (
    DARK,
    FADED_INK,
    INK,
    LEVEL,
    RGB,
    STEEPEST_DEG,
    WHITE,
    descent_colours,
    descent_table,
)
from rootread.report.lettering import font, wrap
from rootread.report.words import pattern_words, scale_words
from rootread.settings import MeasureSettings

if TYPE_CHECKING:
    from rootread.wall import Wall

TEXT_PX, SMALL_PX = 36, 29
SCALE_PX = 34
SAMPLE_PX = (112, 42)
SOIL: RGB = (84, 62, 46)

Pen = Callable[[ImageDraw.ImageDraw, float, float, float], None]


def draw_legend(
    image: Image.Image, wall: "Wall", corner: tuple[int, int], width: int, measure: MeasureSettings
) -> None:
    """Draw the legend onto an image, its top left at ``corner``."""
    draw = ImageDraw.Draw(image)
    left, top = corner
    draw.text((left, top), "how steeply roots went down", fill=INK, font=font(TEXT_PX, bold=True))
    _draw_descent_scale(image, (left, top + 108), width, wall.readings.pattern, pattern_words(measure))
    top += 258
    for pen, text in _samples(wall):
        draw.rectangle([left, top, left + SAMPLE_PX[0], top + SAMPLE_PX[1]], fill=SOIL)
        pen(draw, left + 10, left + SAMPLE_PX[0] - 10, top + SAMPLE_PX[1] / 2)
        draw.text(
            (left + SAMPLE_PX[0] + 22, top + SAMPLE_PX[1] / 2),
            text,
            fill=INK,
            font=font(SMALL_PX),
            anchor="lm",
        )
        top += 58
    top += 16
    for line in wrap(scale_words(wall.plane), font(SMALL_PX), width, 3):
        draw.text((left, top), line, fill=FADED_INK, font=font(SMALL_PX))
        top += 38


def _draw_descent_scale(
    image: Image.Image, corner: tuple[int, int], width: int, pattern: PatternBand, words: str
) -> None:
    left, top = corner
    draw = ImageDraw.Draw(image)
    table = descent_table()
    bar = Image.fromarray(np.repeat(table[np.newaxis], SCALE_PX, axis=0)).resize((width, SCALE_PX))
    image.paste(bar, (left, top))
    for angle in (0, 15, 30, 45, 60):
        x = left + width * angle / STEEPEST_DEG
        draw.line([(x, top + SCALE_PX), (x, top + SCALE_PX + 12)], fill=INK, width=2)
        anchor, text = {0: ("la", "level"), 60: ("ra", "60°+")}.get(angle, ("ma", f"{angle}°"))
        draw.text((x, top + SCALE_PX + 16), text, fill=INK, font=font(SMALL_PX), anchor=anchor)
    low, high = (
        left + width * min(deg, STEEPEST_DEG) / STEEPEST_DEG for deg in (pattern.low_deg, pattern.high_deg)
    )
    draw.line([(low, top - 6), (low, top - 18), (high, top - 18), (high, top - 6)], fill=INK, width=3)
    half = font(SMALL_PX).getlength(words) / 2
    middle = float(np.clip((low + high) / 2, left + half, left + width - half))
    draw.text((middle, top - 26), words, fill=FADED_INK, font=font(SMALL_PX), anchor="mb")


def _samples(wall: "Wall") -> list[tuple[Pen, str]]:
    """A pen and its meaning for every kind of mark that this picture has."""
    steep = tuple(descent_colours([35.0])[0].tolist())

    def run(draw: ImageDraw.ImageDraw, x0: float, x1: float, y: float) -> None:
        draw.line([(x0, y), (x1, y)], fill=LEVEL, width=7)

    def bridged(draw: ImageDraw.ImageDraw, x0: float, x1: float, y: float) -> None:
        for x in np.arange(x0, x1, 23):
            draw.line([(x, y), (min(x + 13, x1), y)], fill=steep, width=4)

    def flat(draw: ImageDraw.ImageDraw, x0: float, x1: float, y: float) -> None:
        draw.line([(x0, y), (x1, y)], fill=(196, 188, 182), width=22)
        draw.line([(x0, y), (x1, y)], fill=steep, width=4)

    def layer(draw: ImageDraw.ImageDraw, x0: float, x1: float, y: float) -> None:
        draw.line([(x0 - 4, y), (x1 + 4, y)], fill=DARK, width=13)
        draw.line([(x0, y), (x1, y)], fill=WHITE, width=5)

    def recorded(draw: ImageDraw.ImageDraw, x0: float, x1: float, y: float) -> None:
        for x in np.arange(x0, x1, 24):
            draw.line([(x, y), (min(x + 10, x1), y)], fill=WHITE, width=3)

    def shank(draw: ImageDraw.ImageDraw, x0: float, x1: float, y: float) -> None:
        middle = (x0 + x1) / 2
        draw.polygon([(middle - 13, y - 14), (middle + 13, y - 14), (middle, y + 16)], fill=WHITE)

    roots = wall.readings.roots
    present: list[tuple[Pen, str, bool]] = [
        (run, "root that ran sideways", any(root.runs for root in roots)),
        (bridged, "unseen behind soil, bridged", any(root.trace.inferred.any() for root in roots)),
        (flat, "root that looks squeezed flat", any(root.flattened.any() for root in roots)),
        (layer, "layer where roots gathered", bool(wall.layers)),
        (recorded, "layer on the field sheet", bool(wall.row.layers)),
        (shank, "where a shank went", bool(wall.row.shanks_at_in)),
    ]
    return [(pen, text) for pen, text, shown in present if shown]

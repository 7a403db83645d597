"""How to read the marks: the descent scale and a sample of each kind of line in the picture."""

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
from rootread.report.faces import font
from rootread.report.ground import CONE, FLOOR, ground_marks
from rootread.report.lettering import wrap
from rootread.report.view import View
from rootread.report.words import pattern_words, recorded_alone, scale_words
from rootread.settings import MeasureSettings

if TYPE_CHECKING:
    from rootread.wall import Wall

TEXT_PX, SMALL_PX = 36, 29
SCALE_PX = 34
SAMPLE_PX = (112, 42)
ABOVE_SAMPLES_PX, SAMPLE_ROW_PX, ABOVE_WORDS_PX, LINE_PX = 258, 58, 16, 38
SOIL: RGB = (84, 62, 46)
FLAT: RGB = (161, 151, 143)


def draw_legend(
    image: Image.Image, wall: "Wall", corner: tuple[int, int], width: int, measure: MeasureSettings
) -> None:
    """Draw the legend onto an image, its top left at ``corner``."""
    draw = ImageDraw.Draw(image)
    left, top = corner
    draw.text((left, top), "how steeply roots went down", fill=INK, font=font(TEXT_PX, bold=True))
    _draw_descent_scale(image, (left, top + 108), width, wall.readings.pattern, pattern_words(measure))
    top += ABOVE_SAMPLES_PX
    for kind, text in kinds_of_marks(wall):
        middle = top + SAMPLE_PX[1] / 2
        draw.rectangle([left, top, left + SAMPLE_PX[0], top + SAMPLE_PX[1]], fill=SOIL)
        _draw_sample(draw, kind, left + 10, left + SAMPLE_PX[0] - 10, middle)
        draw.text((left + SAMPLE_PX[0] + 22, middle), text, fill=INK, font=font(SMALL_PX), anchor="lm")
        top += SAMPLE_ROW_PX
    top += ABOVE_WORDS_PX
    for line in _scale_lines(wall, width):
        draw.text((left, top), line, fill=FADED_INK, font=font(SMALL_PX))
        top += LINE_PX


def legend_height(wall: "Wall", width: int) -> int:
    """How high the legend of this wall comes to be."""
    rows, lines = len(kinds_of_marks(wall)), len(_scale_lines(wall, width))
    return ABOVE_SAMPLES_PX + SAMPLE_ROW_PX * rows + ABOVE_WORDS_PX + LINE_PX * lines


def _scale_lines(wall: "Wall", width: int) -> list[str]:
    return wrap(scale_words(wall.plane), font(SMALL_PX), width, 3)


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


def kinds_of_marks(wall: "Wall") -> list[tuple[str, str]]:
    """The kinds of mark that this wall's picture has, each with its meaning."""
    roots, view = wall.readings.roots, View(wall.plane, 1.0, 0, wall.photo.size_px)
    recorded = [one for one in recorded_alone(wall.layers, wall.row) if view.shows_down_to(one.depth_in)]
    shanks = [x_in for x_in in wall.row.shanks_at_in if view.shows_across(x_in)]
    kinds = [
        ("run", "root that ran sideways", any(root.runs for root in roots)),
        ("bridged", "unseen, bridged", any(root.trace.inferred.any() for root in roots)),
        ("flat", "root that looks squeezed flat", any(root.flattened.any() for root in roots)),
        ("layer", _layer_words(wall), bool(wall.layers)),
        ("recorded", "layer on the field sheet", bool(recorded)),
        ("shank", "where a shank went", bool(shanks)),
    ]
    drawn = [(kind, text) for kind, text, shown in kinds if shown]
    return drawn + ground_marks(wall.judgement, view)


def _layer_words(wall: "Wall") -> str:
    gathered = all(layer.shown_by_roots for layer in wall.layers)
    return "layer where roots gathered" if gathered else "layer, found or marked"


def _draw_sample(draw: ImageDraw.ImageDraw, kind: str, left: float, right: float, middle: float) -> None:
    """A mark as it looks in the picture."""

    def bar(colour: RGB, width: int, beyond: float = 0.0) -> None:
        draw.line([(left - beyond, middle), (right + beyond, middle)], fill=colour, width=width)

    def dashes(colour: RGB, width: int, dash: float, gap: float) -> None:
        for x in np.arange(left, right, dash + gap):
            draw.line([(x, middle), (min(x + dash, right), middle)], fill=colour, width=width)

    red, green, blue = descent_colours([35.0])[0].tolist()
    if kind == "run":
        bar(LEVEL, 7)
    elif kind == "bridged":
        dashes((red, green, blue), 4, 13, 10)
    elif kind == "flat":
        bar(FLAT, 18)
        bar((red, green, blue), 4)
    elif kind == "layer":
        bar(DARK, 13, beyond=4)
        bar(WHITE, 5)
    elif kind == "recorded":
        dashes(WHITE, 3, 10, 14)
    elif kind == "floor":
        dashes(FLOOR, 5, 26, 12)
    elif kind == "cone":
        draw.line([(left, middle - 14), (left, middle + 14)], fill=CONE, width=3)
        draw.line([(left, middle - 14), (left + 34, middle), (left + 60, middle + 14)], fill=CONE, width=4)
        draw.line([(left - 6, middle), (left + 34, middle)], fill=DARK, width=12)
        draw.line([(left - 6, middle), (left + 34, middle)], fill=WHITE, width=5)
    elif kind == "shank":
        x = (left + right) / 2
        draw.polygon([(x - 13, middle - 14), (x + 13, middle - 14), (x, middle + 16)], fill=WHITE)

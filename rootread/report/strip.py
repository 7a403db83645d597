"""The strip beneath the photo: verdict and grade, its parts, and how to read the marks."""

from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, ImageDraw

from rootread.judge.types import GradePart
from rootread.judge.verdict import verdict_ranges
from rootread.report.colours import FADED_INK, INK, PAPER, RULE, verdict_colour
from rootread.report.faces import Face, font
from rootread.report.legend import draw_legend, legend_height
from rootread.report.lettering import shorten, wrap
from rootread.report.strokes import Picture
from rootread.report.words import count, degrees, interval_words, score, sheet_lines
from rootread.settings import JudgeSettings, Settings
from rootread.units import length_words

if TYPE_CHECKING:
    from rootread.wall import Wall

MARGIN_PX = 56
TEXT_PX, SMALL_PX = 36, 31
PART_ROW_PX = 140
BAR_PX = 16
LEAST_HEIGHT_PX = 850
COLUMNS_PX = (MARGIN_PX, 690, 1640)


def draw_strip(wall: "Wall", width_px: int, settings: Settings) -> Picture:
    """Verdict, parts of the grade and legend side by side, ``(H, width_px, 3)`` sRGB."""
    legend_width = width_px - COLUMNS_PX[2] - MARGIN_PX
    tallest = max(PART_ROW_PX * len(wall.grade.parts), legend_height(wall, legend_width))
    height = max(2 * MARGIN_PX + tallest, LEAST_HEIGHT_PX)
    image = Image.new("RGB", (width_px, height), PAPER)
    draw = ImageDraw.Draw(image)
    for left in COLUMNS_PX[1:]:
        draw.line([(left - 44, MARGIN_PX), (left - 44, height - MARGIN_PX)], fill=RULE, width=2)
    _draw_verdict(draw, wall, settings.judge, COLUMNS_PX[1] - COLUMNS_PX[0] - 88)
    for row, part in enumerate(wall.grade.parts):
        top = MARGIN_PX + PART_ROW_PX * row
        _draw_part(draw, part, COLUMNS_PX[1], top, COLUMNS_PX[2] - COLUMNS_PX[1] - 88)
    draw_legend(image, wall, (COLUMNS_PX[2], MARGIN_PX), legend_width, settings.measure)
    return np.array(image)


def _draw_verdict(draw: ImageDraw.ImageDraw, wall: "Wall", judge: JudgeSettings, width: int) -> None:
    left, top = COLUMNS_PX[0], MARGIN_PX
    top += _draw_name(draw, wall.name, left, top, width)
    said = Face(SMALL_PX)
    for line in sheet_lines(wall.row):
        said.write(draw, (left, top), shorten(line, said, width), FADED_INK)
        top += 42
    top += 26
    verdict = wall.grade.verdict
    face = next(
        (face for face in (font(76, bold=True), font(52, bold=True)) if face.getlength(verdict) <= width),
        font(36, bold=True),
    )
    draw.text((left, top), shorten(verdict, face, width), fill=verdict_colour(verdict), font=face)
    top += round(1.45 * face.size)
    if not wall.readings.roots:
        draw.text((left, top), "so there is no grade", fill=INK, font=font(TEXT_PX))
        return
    grade = wall.grade.score
    draw.text((left, top), f"grade {score(grade.value)} of 100", fill=INK, font=font(TEXT_PX, bold=True))
    draw.text(
        (left, top + 48),
        f"likely between {interval_words(grade, ' and ')}",
        fill=FADED_INK,
        font=font(SMALL_PX),
    )
    _draw_scale(draw, wall, judge, left, top + 124, width)
    readings = wall.readings
    figures = [
        f"{count(len(readings.roots), 'root')}, {length_words(readings.root_length_in, 0)} of root",
        f"mean descent {degrees(readings.descent.value)} ({interval_words(readings.descent)})",
        f"{length_words(readings.sideways_in, 0)} of root ran sideways",
    ]
    for row, text in enumerate(figures):
        face = font(SMALL_PX)
        draw.text((left, top + 226 + 44 * row), shorten(text, face, width), fill=INK, font=face)


def _draw_name(draw: ImageDraw.ImageDraw, name: str, left: int, top: int, width: int) -> int:
    """The wall's name, a long one smaller and over two lines; returns its height."""
    large, small = Face(50, bold=True), Face(TEXT_PX, bold=True)
    if large.getlength(name) <= width:
        large.write(draw, (left, top), name, INK)
        return 74
    lines = wrap(name, small, width, 2)
    for row, line in enumerate(lines):
        small.write(draw, (left, top + 46 * row), line, INK)
    return 46 * len(lines) + 16


def _draw_scale(
    draw: ImageDraw.ImageDraw, wall: "Wall", judge: JudgeSettings, left: int, top: int, width: int
) -> None:
    """The verdicts along 0 to 100, with the grade's interval on it."""
    for verdict in verdict_ranges(judge):
        first, last = left + width * verdict.low / 100 + 1, left + width * verdict.high / 100 - 2
        if first > last:
            continue  # the settings leave this verdict no room
        draw.rectangle([first, top, last, top + BAR_PX], fill=verdict_colour(verdict.word))
        if font(24).getlength(verdict.word) <= last - first:
            middle = left + width * (verdict.low + verdict.high) / 200
            draw.text((middle, top + BAR_PX + 40), verdict.word, fill=FADED_INK, font=font(24), anchor="mm")
    grade = wall.grade.score
    if not np.isfinite([grade.value, grade.low, grade.high]).all():
        return
    low, value, high = (left + width * np.clip(x, 0, 100) / 100 for x in (grade.low, grade.value, grade.high))
    draw.polygon([(value - 13, top - 24), (value + 13, top - 24), (value, top - 3)], fill=INK)
    draw.rectangle([low, top + BAR_PX + 5, max(high, low + 4), top + BAR_PX + 13], fill=INK)


def _draw_part(draw: ImageDraw.ImageDraw, part: GradePart, left: int, top: int, width: int) -> None:
    """Name, bar, score and reason of one part; the weight says how much it counts."""
    face = font(TEXT_PX, bold=True)
    draw.text((left, top), part.name, fill=INK, font=face)
    weight_left = left + face.getlength(part.name) + 18
    weight = f"counts {100 * part.weight:.0f} %"
    draw.text((weight_left, top + 7), weight, fill=FADED_INK, font=font(27))
    draw.text((left + width, top), score(part.score), fill=INK, font=face, anchor="ra")
    bar_left, bar_right = left + 480, left + width - 100
    middle = top + 25
    draw.rectangle([bar_left, middle - BAR_PX / 2, bar_right, middle + BAR_PX / 2], fill=RULE)
    if np.isfinite(part.score) and part.score > 0:
        end = bar_left + (bar_right - bar_left) * min(part.score, 100) / 100
        draw.rectangle([bar_left, middle - BAR_PX / 2, end, middle + BAR_PX / 2], fill=INK)
    for row, line in enumerate(wrap(part.reason, font(SMALL_PX), width, 2)):
        draw.text((left, top + 48 + 38 * row), line, fill=FADED_INK, font=font(SMALL_PX))

"""Descent by depth and along the wall, with its interval and the growth pattern beside it."""

from collections.abc import Sequence

import numpy as np
from markupsafe import Markup

from rootread.judge.types import Layer
from rootread.measure.places import DescentSlice
from rootread.measure.types import PatternBand, Readings
from rootread.report.profiles import HEADED_AT, HEIGHT, LEFT, RIGHT, SIZE, TOP, WIDTH, depth_axis
from rootread.report.svg import line, path, svg, text
from rootread.report.words import between_depths, between_places, degrees
from rootread.units import INCHES_PER, shown, unit_shown

STEEPEST_DEG = 90.0
TICKS_DEG = (0, 30, 60, 90)
DOT = 3.2


def descent_by_depth(
    slices: Sequence[DescentSlice], readings: Readings, layers: Sequence[Layer]
) -> Markup | None:
    """Mean descent in each slice of depth; depth runs down, steeper is farther right."""
    if not slices:
        return None
    axis = depth_axis(readings, layers)

    def across(angle_deg: float) -> float:
        return LEFT + WIDTH * float(np.clip(angle_deg, 0, STEEPEST_DEG)) / STEEPEST_DEG

    parts = [_band(across(low), TOP, across(high), TOP + HEIGHT) for low, high in _bands(readings.pattern)]
    parts += [line(across(tick), TOP, across(tick), TOP + HEIGHT, "edge") for tick in TICKS_DEG]
    parts += [text(across(tick), TOP - 4, f"{tick}°", "middle", "tick") for tick in TICKS_DEG]
    for part in slices:
        row = axis.row((part.from_in + part.to_in) / 2)
        parts.append(_interval(across(part.descent.low), row, across(part.descent.high), row))
        parts.append(_dot(across(part.descent.value), row, _at_depth(part)))
    label = "Mean descent by depth: " + ", ".join(map(_at_depth, slices)) + "."
    return svg(SIZE, label, [*parts, *axis.draw(layers, "descent")])


def descent_along_wall(
    slices: Sequence[DescentSlice], pattern: PatternBand, shanks_in: Sequence[float]
) -> Markup | None:
    """Mean descent at each place along the wall; steeper is lower, shanks stand at the top."""
    if not slices:
        return None
    first, last = slices[0].from_in, slices[-1].to_in

    def column(x_in: float) -> float:
        return LEFT + (RIGHT - LEFT) * (x_in - first) / (last - first)

    def row(angle_deg: float) -> float:
        return TOP + HEIGHT * float(np.clip(angle_deg, 0, STEEPEST_DEG)) / STEEPEST_DEG

    parts = [_band(LEFT, row(low), RIGHT, row(high)) for low, high in _bands(pattern)]
    for tick in TICKS_DEG:
        parts.append(line(LEFT, row(tick), RIGHT, row(tick), "edge"))
        parts.append(text(LEFT - 8, row(tick) + 4, f"{tick}°", "end", "tick"))
    for part in slices:
        x = column((part.from_in + part.to_in) / 2)
        parts.append(_interval(x, row(part.descent.low), x, row(part.descent.high)))
        parts.append(_dot(x, row(part.descent.value), _at_place(part)))
    for x_in in shanks_in:
        if first <= x_in <= last:
            x = column(x_in)
            parts.append(path([(x - 6, TOP - 12), (x + 6, TOP - 12), (x, TOP)], "flag-shape", closed=True))
    step = next((step for step in (5, 10, 20, 50) if shown(last - first) / step <= 8), 100)
    for at in np.arange(np.ceil(shown(first) / step) * step, shown(last) + 0.01, step):
        x = column(float(at) * INCHES_PER[unit_shown()])
        parts.append(text(x, TOP + HEIGHT + 18, f"{at:.0f}".replace("-", "−"), "middle", "tick"))
    parts.append(text(RIGHT, HEADED_AT, f"{unit_shown()} right of the scale object's centre", "end"))
    label = "Mean descent along the wall: " + ", ".join(map(_at_place, slices)) + "."
    return svg((SIZE[0], SIZE[1] + 14), label, parts)


def _bands(pattern: PatternBand) -> list[tuple[float, float]]:
    """The growth pattern as it is, over the same widened by what the wall's angles are unsure by."""
    wide = pattern.widened_by_deg
    return [(pattern.low_deg - wide, pattern.high_deg + wide), (pattern.low_deg, pattern.high_deg)]


def _band(x0: float, y0: float, x1: float, y1: float) -> Markup:
    return Markup('<rect x="{:.1f}" y="{:.1f}" width="{:.1f}" height="{:.1f}" class="band"/>').format(
        x0, y0, x1 - x0, y1 - y0
    )


def _interval(x0: float, y0: float, x1: float, y1: float) -> Markup:
    return line(x0, y0, x1, y1, "interval")


def _dot(x: float, y: float, says: str) -> Markup:
    return Markup(
        '<circle cx="{:.1f}" cy="{:.1f}" r="{}" class="flag-shape"><title>{}</title></circle>'
    ).format(x, y, DOT, says)


def _at_depth(part: DescentSlice) -> str:
    return f"{degrees(part.descent.value)} at {between_depths(part.from_in, part.to_in, 0)}"


def _at_place(part: DescentSlice) -> str:
    return f"{degrees(part.descent.value)} at {between_places(part.from_in, part.to_in, 0)}"

"""What happens with depth: how much root there is, and how many roots get so far. Depth runs down."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from rootread.judge.survival import FEWEST_AT_RISK
from rootread.judge.types import Layer, PassageCurve
from rootread.measure.types import Readings
from rootread.report.faces import Face
from rootread.report.svg import line, path, svg, text
from rootread.report.words import between_depths
from rootread.units import INCHES_PER, length_words, shown, unit_name, unit_shown

LEFT, TOP = 44.0, 34.0
WIDTH, HEIGHT = 236.0, 246.0
SIZE = (320, 290)
HEADED_AT = 12.0
"""Where the words above a drawing stand: clear of the numbers of its upper axis."""
RIGHT = LEFT + WIDTH + 20
LETTERS_PX = 12
NUMBER_PX = 11.0
"""Height that a number takes up beside a bar."""
BESIDE = 6.0
"""Clear space on either side of such a number."""
FLAG_CLEARS = 16.0
"""A layer's flag takes so much of the axis that numbers nearer than this are left out."""


@dataclass(frozen=True)
class DepthAxis:
    """Depth down the left side; the drawings of one wall share it, so that they can be read side by side."""

    shallowest_in: float
    deepest_in: float

    def row(self, depth_in: float) -> float:
        """Where a depth lies in the drawing."""
        return TOP + HEIGHT * (depth_in - self.shallowest_in) / (self.deepest_in - self.shallowest_in)

    def draw(self, layers: Sequence[Layer], right_words: str) -> list[Markup]:
        """Numbers and ticks, a flag and a line for each layer, and what the other axis counts."""
        flags = [self.row(layer.depth_in) for layer in layers]
        marks = [line(LEFT, TOP, LEFT, TOP + HEIGHT, "axis")]
        deepest = shown(self.deepest_in)
        step = next((step for step in (2, 5, 10, 20) if deepest / step <= 8), 50)
        for depth in np.arange(0, deepest + 0.01, step):
            row = self.row(float(depth) * INCHES_PER[unit_shown()])
            if all(abs(row - flag) >= FLAG_CLEARS for flag in flags):
                marks.append(text(LEFT - 8, row + 4, f"{depth:.0f}", "end"))
                marks.append(line(LEFT - 4, row, LEFT, row, "axis"))
        for layer, flag in zip(layers, flags, strict=True):
            inner = LEFT - 9
            marks.append(line(LEFT, flag, RIGHT, flag, "layer"))
            corners = [(2, flag - 10), (inner, flag - 10), (LEFT, flag), (inner, flag + 10), (2, flag + 10)]
            marks.append(path(corners, "flag-shape", closed=True))
            marks.append(text(inner - 1, flag + 4, f"{shown(layer.depth_in):.1f}", "end", "flag-text"))
        marks.append(text(4, HEADED_AT, f"depth, {unit_shown()}", "start"))
        marks.append(text(RIGHT, HEADED_AT, right_words, "end"))
        return marks


def depth_axis(readings: Readings, layers: Sequence[Layer]) -> DepthAxis:
    """From the highest root or the soil surface to the deepest root or layer."""
    edges, _ = depth_amounts(readings)
    deepest = max(float(edges[-1]), *(layer.depth_in + 1 for layer in layers), 1.0)
    return DepthAxis(min(float(edges[0]), 0.0), deepest)


def depth_amounts(readings: Readings) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """``(D + 1,)`` edges of slices of depth and ``(D,)`` inches of root in each.

    A root that begins at the surface is traced to a hair above it, or the ground there lies a little
    higher than its mean level. Slices above the surface that show as no root for that reason are left out.
    """
    edges = readings.density_z_in
    if len(edges) < 2:
        return edges, np.zeros(0)
    amounts = np.nansum(readings.density, axis=1) * (edges[1] - edges[0]) ** 2
    top = 0
    while top < len(amounts) and edges[top + 1] <= 0 and round(shown(amounts[top])) == 0:
        top += 1
    return edges[top:], amounts[top:]


def depth_profile(readings: Readings, layers: Sequence[Layer]) -> Markup:
    """Length of root in each slice of depth, with the layers that were found."""
    axis = depth_axis(readings, layers)
    edges, slices = depth_amounts(readings)
    most = float(slices.max()) if len(slices) else 0.0
    bars: list[Markup] = []
    amounts: list[Markup] = []
    # Where slices are lower than a number is high, every second, third ... bar has one.
    apart = axis.row(float(edges[1])) - axis.row(float(edges[0])) if len(slices) else NUMBER_PX
    every = math.ceil(NUMBER_PX / apart)
    for k, (top, bottom, amount) in enumerate(zip(edges, edges[1:], slices, strict=False)):
        deep = " deep" if bottom > 0 else ""
        says = f"{length_words(amount, 0)} of root from {between_depths(top, bottom, 0)}{deep}"
        length = WIDTH * amount / most if most else 0.0
        height = max(axis.row(bottom) - axis.row(top), 2.0)
        bars.append(
            Markup(
                '<rect x="{}" y="{:.1f}" width="{:.1f}" height="{:.1f}" class="bar"><title>{}</title></rect>'
            ).format(LEFT, axis.row(top) + 1, length, height - 1, says)
        )
        if k % every == 0:
            middle = (axis.row(top) + axis.row(bottom)) / 2
            lines = [axis.row(layer.depth_in) for layer in layers if top <= layer.depth_in < bottom]
            near = [row for row in lines if abs(row - middle) < NUMBER_PX]
            amounts += _amount(LEFT + length, middle, f"{shown(amount):.0f}", near)
    summed = np.cumsum(slices) if len(slices) else np.zeros(1)
    half = float(edges[1:][np.searchsorted(summed, summed[-1] / 2)]) if most else 0.0
    label = f"Root length by depth; half of it lies above {length_words(half, 0)}." if most else "No roots."
    return svg(SIZE, label, [*bars, *axis.draw(layers, f"{unit_name(True)} of root"), *amounts])


def _amount(bar_end: float, middle: float, number: str, lines: Sequence[float]) -> list[Markup]:
    """The number beside a bar, on a plate that covers the lines close by: they would look like a minus."""
    top = min(middle - NUMBER_PX / 2, *(row - 2 for row in lines), middle)
    bottom = max(middle + NUMBER_PX / 2, *(row + 2 for row in lines), middle)
    width = Face(LETTERS_PX).getlength(number) + 2 * BESIDE
    plate = Markup('<rect x="{:.1f}" y="{:.1f}" width="{:.1f}" height="{:.1f}" class="plate"/>').format(
        bar_end + 0.5, top, width, bottom - top
    )
    return [plate, text(bar_end + BESIDE, middle + 4, number, "start")]


def passage_profile(curve: PassageCurve, readings: Readings, layers: Sequence[Layer]) -> Markup:
    """Share of roots that get down to each depth, with its band.

    The curve is dotted from where fewer roots are seen than it takes to speak of a share.
    """
    axis = depth_axis(readings, layers)
    rows = [axis.row(float(depth)) for depth in curve.depth_in]

    def across(shares: Sequence[float]) -> list[tuple[float, float]]:
        return [(LEFT + WIDTH * share, row) for share, row in zip(shares, rows, strict=True)]

    band = across(curve.low.tolist()) + across(curve.high.tolist())[::-1]
    way = across(curve.share.tolist())
    most = int(np.argmax(curve.at_risk))
    sparse = np.flatnonzero(curve.at_risk[most:] < FEWEST_AT_RISK)
    sure = most + int(sparse[0]) if len(sparse) else len(way)
    scale = []
    for share in (0.0, 0.5, 1.0):
        x = LEFT + WIDTH * share
        scale.append(line(x, TOP, x, TOP + HEIGHT, "edge"))
        scale.append(text(x, TOP - 4, f"{100 * share:.0f}", "middle", "tick"))
    curves = [
        path(band, "band", closed=True),
        path(way[:sure], "curve"),
        path(way[max(sure - 1, 0) :], "few"),
    ]
    label = f"Of 100 roots, {100 * curve.share[-1]:.0f} get down all the way."
    return svg(SIZE, label, [*scale, *curves, *axis.draw(layers, "of 100 roots")])

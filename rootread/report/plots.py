"""Small drawings for the page, as SVG: which way the roots went, and how much root at each depth."""

import math
from collections.abc import Sequence

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from rootread.geometry import arc_length
from rootread.judge.types import Layer
from rootread.measure.types import Readings, RootReading
from rootread.report.colours import descent_colours, hex_of
from rootread.report.waydown import way_down
from rootread.report.words import percent

WEDGE_DEG = 10
ROSE_RADIUS = 130.0
ROSE_CENTRE = (160.0, 44.0)
PROFILE_LEFT, PROFILE_TOP = 44.0, 30.0
PROFILE_WIDTH, PROFILE_HEIGHT = 236.0, 250.0


def half_rose(readings: Readings) -> Markup:
    """Root length by the way it went, left and right of straight down.

    A wedge's area, not its radius, stands for its share of the root length, so
    that a wedge that looks twice as big is twice as much root. Rising
    stretches, which are few, count with the level ones.
    """
    lengths = rose_lengths(readings.roots)
    radii = ROSE_RADIUS * np.sqrt(lengths / lengths.max()) if lengths.any() else np.zeros_like(lengths)
    share = lengths / lengths.sum() if lengths.any() else lengths
    parts = [_arc(ROSE_RADIUS, "edge")]
    for number, radius in enumerate(radii):
        start = number * WEDGE_DEG
        middle = start + WEDGE_DEG / 2
        colour = hex_of(descent_colours([min(middle, 180 - middle)])[0])
        rim = f"A{radius:.1f} {radius:.1f} 0 0 1 {_xy(radius, start + WEDGE_DEG)}"
        shape = f"M{_xy(0, start)}L{_xy(radius, start)}{rim}Z"
        says = f"{100 * share[number]:.0f} % of root length"
        parts.append(
            Markup('<path d="{}" fill="{}" class="wedge"><title>{}</title></path>').format(
                shape, colour, says
            )
        )
    for edge in (readings.pattern.low_deg, readings.pattern.high_deg):
        for angle in (edge, 180 - edge):
            parts.append(
                Markup('<path d="M{}L{}" class="pattern"/>').format(
                    _xy(20, angle), _xy(ROSE_RADIUS + 8, angle)
                )
            )
    x, y = ROSE_CENTRE
    parts += [
        _text(x - ROSE_RADIUS, y - 10, "level", "start"),
        _text(x + ROSE_RADIUS, y - 10, "level", "end"),
        _text(x, y + ROSE_RADIUS + 20, "straight down", "middle"),
    ]
    return _svg((320, 204), "Root length by direction. " + rose_words(readings.roots), parts)


def rose_words(roots: Sequence[RootReading]) -> str:
    """How the root length divides between level, slanting and straight down."""
    lengths = rose_lengths(roots)
    if not lengths.any():
        return "No roots."
    both_sides = (lengths + lengths[::-1])[: len(lengths) // 2] / lengths.sum()
    level, slanting, down = both_sides.reshape(3, -1).sum(axis=1)
    return (
        f"{percent(level)} of root length lies within 30° of level, {percent(slanting)} slants, "
        f"{percent(down)} lies within 30° of straight down."
    )


def rose_lengths(roots: Sequence[RootReading]) -> NDArray[np.float64]:
    """Inches of root in each wedge, ``(18,)``, from level right over straight down to level left."""
    lengths = np.zeros(180 // WEDGE_DEG)
    for root in roots:
        way = way_down(root)
        descent = np.clip(way.descent_deg, 0.0, 90.0)
        angle = np.where(way.rightward, descent, 180.0 - descent)
        wedge = np.clip(angle // WEDGE_DEG, 0, len(lengths) - 1).astype(int)
        # Each point stands for half of the way to either neighbour.
        half_steps = np.diff(arc_length(root.trace.points)) / 2
        np.add.at(lengths, wedge[:-1], half_steps)
        np.add.at(lengths, wedge[1:], half_steps)
    return lengths


def depth_profile(readings: Readings, layers: Sequence[Layer]) -> Markup:
    """Inches of root in each slice of depth, with the layers that were found."""
    edges = readings.density_z_in
    cell_in = edges[1] - edges[0] if len(edges) > 1 else 1.0
    slices = np.nansum(readings.density, axis=1) * cell_in**2 if len(edges) > 1 else np.zeros(0)
    deepest = max(float(edges[-1]), *(layer.depth_in + 1 for layer in layers), 1.0)
    shallowest = min(float(edges[0]), 0.0)
    most = float(slices.max()) if len(slices) else 0.0

    def row(depth_in: float) -> float:
        return PROFILE_TOP + PROFILE_HEIGHT * (depth_in - shallowest) / (deepest - shallowest)

    bars, amounts, marks = [], [], []
    for top, bottom, amount in zip(edges, edges[1:], slices, strict=False):
        says = f"{amount:.0f} in of root from {top:.0f} to {bottom:.0f} in deep"
        length = PROFILE_WIDTH * amount / most if most else 0.0
        height = max(row(bottom) - row(top), 2.0)
        bars.append(
            Markup(
                '<rect x="{}" y="{:.1f}" width="{:.1f}" height="{:.1f}" class="bar"><title>{}</title></rect>'
            ).format(PROFILE_LEFT, row(top) + 1, length, height - 1, says)
        )
        if height >= 11:
            middle = (row(top) + row(bottom)) / 2 + 4
            amounts.append(_text(PROFILE_LEFT + length + 6, middle, f"{amount:.0f}", "start", "amount"))
    step = next((step for step in (2, 5, 10, 20) if deepest / step <= 8), 50)
    flags = [row(layer.depth_in) for layer in layers]
    for depth in np.arange(0, deepest + 0.01, step):
        if any(abs(row(depth) - flag) < 16 for flag in flags):
            continue
        marks.append(_text(PROFILE_LEFT - 8, row(depth) + 4, f"{depth:.0f}", "end"))
        marks.append(_line(PROFILE_LEFT - 4, row(depth), PROFILE_LEFT, row(depth), "axis"))
    marks.append(_line(PROFILE_LEFT, PROFILE_TOP, PROFILE_LEFT, PROFILE_TOP + PROFILE_HEIGHT, "axis"))
    for layer, flag in zip(layers, flags, strict=True):
        right = PROFILE_LEFT + PROFILE_WIDTH + 20
        marks.append(_line(PROFILE_LEFT, flag, right, flag, "layer"))
        inner = PROFILE_LEFT - 9
        tag = f"M2 {flag - 10:.1f}H{inner}L{PROFILE_LEFT} {flag:.1f}L{inner} {flag + 10:.1f}H2Z"
        marks.append(Markup('<path d="{}" class="flag-shape"/>').format(tag))
        marks.append(_text(inner - 1, flag + 4, f"{layer.depth_in:.1f}", "end", "flag-text"))
    marks.append(_text(4, 14, "depth, in", "start"))
    marks.append(_text(PROFILE_LEFT + PROFILE_WIDTH + 20, 14, "inches of root", "end"))
    deep = np.cumsum(slices) if len(slices) else np.zeros(1)
    half = float(edges[1:][np.searchsorted(deep, deep[-1] / 2)]) if most else 0.0
    label = f"Root length by depth; half of it lies above {half:.0f} inches." if most else "No roots."
    return _svg((320, 290), label, [*bars, *marks, *amounts])


def _xy(radius: float, angle_deg: float) -> str:
    """A point of the rose; angles run clockwise from level right, through straight down."""
    angle = math.radians(angle_deg)
    return f"{ROSE_CENTRE[0] + radius * math.cos(angle):.1f} {ROSE_CENTRE[1] + radius * math.sin(angle):.1f}"


def _arc(radius: float, kind: str) -> Markup:
    shape = f"M{_xy(radius, 0)}A{radius:.1f} {radius:.1f} 0 0 1 {_xy(radius, 180)}Z"
    return Markup('<path d="{}" class="{}"/>').format(shape, kind)


def _line(x0: float, y0: float, x1: float, y1: float, kind: str) -> Markup:
    return Markup('<path d="M{:.1f} {:.1f}L{:.1f} {:.1f}" class="{}"/>').format(x0, y0, x1, y1, kind)


def _text(x: float, y: float, text: str, anchor: str, kind: str = "") -> Markup:
    return Markup('<text x="{:.1f}" y="{:.1f}" text-anchor="{}" class="{}">{}</text>').format(
        x, y, anchor, kind, text
    )


def _svg(size: tuple[int, int], label: str, parts: Sequence[Markup]) -> Markup:
    opening = Markup('<svg viewBox="0 0 {} {}" role="img" aria-label="{}">').format(*size, label)
    return opening + Markup("").join(parts) + Markup("</svg>")

"""A contrast drawn: every wall a dot, pits joined, the difference with its interval; root by depth."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from string import ascii_uppercase

import numpy as np
from markupsafe import Markup
from matplotlib.ticker import MaxNLocator

from rootread.compare.contrast import Contrast, Pair
from rootread.compare.depths import SLICE_IN, DepthProfile
from rootread.compare.measures import Measure
from rootread.compare.units import Unit
from rootread.report.lettering import font, shorten
from rootread.report.svg import line, path, svg, text
from rootread.units import length_words, shown, unit_shown

COLOURS = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#8a6a00", "#56b4e9")
"""Told apart by readers with any kind of colour sight (after Okabe and Ito; from memory)."""
DASHES = ("none", "7 4", "2 3", "10 3 2 3")
"""With the colours, so that grey prints can be read too."""
WIDTH, HEIGHT = 460, 300
TOP, BOTTOM = 34.0, 246.0
LEFT = 52.0
LETTERS_PX = 12
ROUND_STEPS = [1, 2, 5, 10]
"""Between marks on an axis, times a power of ten."""
MOST_PITS = 500
"""Of more pits than this every second, third ... is drawn; more dots would be one blot."""
MOST_LINES = 60
"""With more walls than this the profile of each is not drawn, only the mean and its band."""


def colour(treatments: Sequence[str], name: str) -> str:
    """The treatment's colour, the same in every drawing."""
    return COLOURS[list(treatments).index(name) % len(COLOURS)]


@dataclass(frozen=True)
class _Scale:
    """A vertical axis with round numbers."""

    low: float
    high: float
    ticks: tuple[float, ...]

    @staticmethod
    def over(values: Sequence[float], times: float) -> "_Scale":
        """A scale that holds all values, each multiplied by ``times`` as it is written."""
        written = np.array([value * times for value in values if math.isfinite(value)])
        pad = max(float(np.ptp(written)), 1e-6) * 0.06
        # No axis begins below zero for figures that do not.
        least = written.min() - pad if written.min() < 0 else max(written.min() - pad, 0.0)
        ticks = MaxNLocator(5, steps=ROUND_STEPS).tick_values(least, written.max() + pad)
        return _Scale(float(ticks[0]), float(ticks[-1]), tuple(float(tick) for tick in ticks))

    def row(self, written: float) -> float:
        return BOTTOM - (BOTTOM - TOP) * (written - self.low) / (self.high - self.low)


def measure_plot(contrast: Contrast, measure: Measure) -> Markup | None:
    """Walls by treatment at the left, differences of treatments at the right; None without figures."""
    units = contrast.units[measure.name]
    pairs = [pair for pair in contrast.pairs if pair.measure == measure]
    if not units:
        return None
    right = WIDTH - 8.0
    keyed = _short_names(contrast, len(pairs))
    middle = 150 + 300 * len(contrast.treatments) / (len(contrast.treatments) + max(len(pairs), 1)) * 0.62
    walls = _draw_walls(contrast, measure, units, keyed, LEFT, middle - 30)
    differences = _draw_differences(measure, pairs, keyed, middle + 40, right) if pairs else []
    legend = [
        text(4, HEIGHT + 16 * row, f"{short}  {name}", "start")
        for row, (name, short) in enumerate(keyed.items())
        if short != name
    ]
    label = "; ".join(f"{unit.treatment}, {unit.pit}: {measure.says(unit.value)}" for unit in units)
    size = (WIDTH, HEIGHT + 16 * len(legend))
    return svg(size, f"{measure.words} by wall. {label}", [*walls, *differences, *legend])


def _short_names(contrast: Contrast, pairs: int) -> dict[str, str]:
    """What each treatment is called below the axis: its name, or a letter where names have no room."""
    room = (WIDTH - 150) / (len(contrast.treatments) + max(pairs, 1)) - 6
    if all(font(LETTERS_PX).getlength(f"less {name}") <= room for name in contrast.treatments):
        return {name: name for name in contrast.treatments}
    letters = (ascii_uppercase[k % 26] * (k // 26 + 1) for k in range(len(contrast.treatments)))
    return dict(zip(contrast.treatments, letters, strict=True))


def _draw_walls(
    contrast: Contrast,
    measure: Measure,
    units: Sequence[Unit],
    keyed: dict[str, str],
    left: float,
    right: float,
) -> list[Markup]:
    scale = _Scale.over([value for unit in units for value in unit.wall_values], measure.scale)
    step = (right - left) / len(contrast.treatments)
    at = {name: left + step * (k + 0.5) for k, name in enumerate(contrast.treatments)}
    marks = _axis(scale, left, right)
    marks.append(text(4, 16, measure.words + (f", {measure.unit.strip()}" if measure.unit else ""), "start"))
    pits: dict[str, list[Unit]] = {}
    for unit in units:
        pits.setdefault(unit.pit, []).append(unit)
    every = -(-len(pits) // MOST_PITS)
    drawn = list(pits.values())[::every]
    for members in drawn:
        joined = [(at[unit.treatment], scale.row(unit.value * measure.scale)) for unit in members]
        if len(joined) > 1:
            marks.append(path(joined, "joined"))
    for name, x in at.items():
        mine = [unit for unit in units if unit.treatment == name]
        tint = colour(contrast.treatments, name)
        if mine:
            row = scale.row(float(np.mean([unit.value for unit in mine])) * measure.scale)
            marks.append(line(x - 20, row, x + 20, row, "mean"))
        for unit in (unit for members in drawn for unit in members if unit.treatment == name):
            for wall, value in zip(unit.walls, unit.wall_values, strict=True):
                says = f"{wall}: {measure.says(value)}"
                marks.append(_dot(x, scale.row(value * measure.scale), tint, says))
        marks.append(text(x, BOTTOM + 20, keyed[name], "middle"))
    return marks


def _draw_differences(
    measure: Measure, pairs: Sequence[Pair], keyed: dict[str, str], left: float, right: float
) -> list[Markup]:
    ends = [x for pair in pairs for x in (pair.effect.low, pair.effect.value, pair.effect.high)]
    scale = _Scale.over([0.0, *ends], measure.scale)
    marks = _axis(scale, left, right, signed=True)
    marks.append(text(right, 16, "difference, likely range", "end"))
    marks.append(line(left, scale.row(0.0), right, scale.row(0.0), "zero"))
    step = (right - left) / len(pairs)
    for k, pair in enumerate(pairs):
        x = left + step * (k + 0.5)
        low, value, high = (
            scale.row(end * measure.scale) for end in (pair.effect.low, pair.effect.value, pair.effect.high)
        )
        if math.isfinite(pair.effect.low):
            marks.append(line(x, low, x, high, "interval"))
        says = f"{pair.first} less {pair.second}: {measure.bare(pair.effect.value, True)}{measure.unit}"
        marks.append(_dot(x, value, "#26221e", says))
        marks.append(text(x, BOTTOM + 20, keyed[pair.first], "middle"))
        marks.append(text(x, BOTTOM + 36, f"less {keyed[pair.second]}", "middle"))
    return marks


def _axis(scale: _Scale, left: float, right: float, signed: bool = False) -> list[Markup]:
    marks = []
    digits = max(0, *(_decimals(tick) for tick in scale.ticks))
    for tick in scale.ticks:
        marks.append(line(left, scale.row(tick), right, scale.row(tick), "edge"))
        written = f"{tick:{'+' if signed and tick else ''}.{digits}f}".replace("-", "−")
        marks.append(text(left - 6, scale.row(tick) + 4, written, "end", "tick"))
    return marks


def _decimals(tick: float) -> int:
    return next((n for n in range(4) if abs(round(tick, n) - tick) < 1e-9), 4)


def _dot(x: float, y: float, tint: str, says: str) -> Markup:
    return Markup(
        '<circle cx="{:.1f}" cy="{:.1f}" r="5" fill="{}" class="wall-dot"><title>{}</title></circle>'
    ).format(x, y, tint, says)


def profile_plot(profiles: Sequence[DepthProfile], treatments: Sequence[str]) -> Markup | None:
    """Share of root length by depth: thin lines are walls, thick ones treatments with their bands."""
    if not profiles:
        return None
    edges = profiles[0].edges_in
    middles = (edges[1:] + edges[:-1]) / 2
    most = max(float(np.nanmax([profile.walls.max(), *profile.high])) for profile in profiles)
    right, height = WIDTH - 16.0, 380
    scale = _Scale.over([0.0, most], 100.0)

    def across(shares: Sequence[float]) -> list[tuple[float, float]]:
        xs = [LEFT + (right - LEFT) * 100 * float(share) / scale.high for share in shares]
        return list(zip(xs, [TOP + (340 - TOP) * depth / edges[-1] for depth in middles], strict=True))

    bands, thin, thick, keys = [], [], [], []
    for k, profile in enumerate(profiles):
        tint = colour(treatments, profile.treatment)
        style = Markup("fill:{};").format(tint)
        if np.isfinite(profile.low).all():
            area = path(
                across(profile.low.tolist()) + across(profile.high.tolist())[::-1], "depth-band", closed=True
            )
            bands.append(Markup('<g style="{}">').format(style) + area + Markup("</g>"))
        pen = Markup("stroke:{};stroke-dasharray:{}").format(tint, DASHES[k % len(DASHES)])
        if len(profile.walls) <= MOST_LINES:
            lines = Markup("").join(path(across(wall.tolist()), "wall-line") for wall in profile.walls)
            thin.append(Markup('<g style="stroke:{}">').format(tint) + lines + Markup("</g>"))
        thick.append(
            Markup('<g style="{}">').format(pen)
            + path(across(profile.mean.tolist()), "mean-line")
            + Markup("</g>")
        )
        row = 250 + 20 * k
        sample = line(right - 170, row, right - 140, row, "mean-line")
        keys.append(Markup('<g style="{}">').format(pen) + sample + Markup("</g>"))
        keys.append(text(right - 132, row + 4, shorten(profile.treatment, font(LETTERS_PX), 130), "start"))
    slice_words = length_words(SLICE_IN, 0 if unit_shown() == "in" else 1)
    marks = [line(LEFT, TOP, LEFT, 340, "axis"), text(4, 16, f"depth, {unit_shown()}", "start")]
    marks.append(text(right, 16, f"percent of the root length, in each {slice_words}", "end"))
    for tick in scale.ticks:
        if 0 <= tick <= scale.high:
            x = LEFT + (right - LEFT) * tick / scale.high
            marks += [line(x, TOP, x, 340, "edge"), text(x, 356, f"{tick:.0f}", "middle", "tick")]
    deepest = shown(float(edges[-1]))
    for mark in np.arange(0, deepest + 0.1, 4 if deepest <= 32 else 10):
        at = TOP + (340 - TOP) * float(mark) / deepest
        marks.append(line(LEFT - 4, at, LEFT, at, "axis"))
        marks.append(text(LEFT - 8, at + 4, f"{mark:.0f}", "end", "tick"))
    label = "Share of root length by depth for " + ", ".join(profile.treatment for profile in profiles)
    return svg((WIDTH, height), label, [*marks, *bands, *thin, *thick, *keys])

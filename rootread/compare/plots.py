"""A contrast drawn: every wall a dot, pits joined, the differences with their intervals."""

import math
from collections.abc import Sequence
from string import ascii_uppercase

import numpy as np
from markupsafe import Markup

from rootread.compare.contrast import Contrast, Pair
from rootread.compare.effect import LEVEL
from rootread.compare.measures import Measure
from rootread.compare.scale import TICK_PX, Scale
from rootread.compare.units import Unit
from rootread.report.faces import Face
from rootread.report.lettering import shorten
from rootread.report.svg import line, path, svg, text

COLOURS = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#8a6a00", "#56b4e9")
"""Told apart by readers with any kind of colour sight (after Okabe and Ito; from memory)."""
WIDTH, HEIGHT = 460, 300
TOP, BOTTOM = 34.0, 246.0
LEFT = 52.0
EDGE = 8.0
LETTERS_PX = 12
KEY_ROW = 16
PAIR_ROW = 20
MOST_PITS = 500
"""Of more pits than this every second, third ... is drawn; more dots would be one blot."""


def colour(treatments: Sequence[str], name: str) -> str:
    """The treatment's colour, the same in every drawing."""
    return COLOURS[list(treatments).index(name) % len(COLOURS)]


def measure_plot(contrast: Contrast, measure: Measure) -> Markup | None:
    """Walls by treatment, and the differences of treatments beside them; below them where there are many.

    None where no wall has the figure.
    """
    units = contrast.units[measure.name]
    pairs = [pair for pair in contrast.pairs if pair.measure == measure]
    if not units:
        return None
    treatments, right = contrast.treatments, WIDTH - EDGE
    if contrast.many or not pairs:
        end = right
        keyed = _names(treatments, (end - LEFT) / len(treatments), math.inf)
    else:
        middle = 150 + 300 * len(treatments) / (len(treatments) + len(pairs)) * 0.62
        end, begin = middle - 30, middle + 40
        keyed = _names(treatments, (end - LEFT) / len(treatments), (right - begin) / len(pairs))
    marks = _draw_walls(contrast, measure, units, keyed, LEFT, end)
    key = [f"{short}  {name}" for name, short in keyed.items() if short != name]
    below = BOTTOM + 38 if contrast.many or not pairs else BOTTOM + 54
    face = Face(LETTERS_PX)
    marks += [
        text(4, below + KEY_ROW * row, shorten(words, face, WIDTH - EDGE), "start")
        for row, words in enumerate(key)
    ]
    height = below + KEY_ROW * len(key)
    if pairs and not contrast.many:
        marks += _draw_differences(measure, pairs, keyed, begin, right)
    elif pairs:
        marks += _draw_rows(measure, pairs, keyed, height + 12)
        height += 12 + 44 + PAIR_ROW * len(pairs)
    label = "; ".join(f"{unit.treatment}, {unit.pit}: {measure.says(unit.value)}" for unit in units)
    return svg((WIDTH, round(height)), f"{measure.words} by wall. {label}", marks)


def _names(treatments: Sequence[str], room: float, room_of_pair: float) -> dict[str, str]:
    """What each treatment is called below the axis: its name, or a letter where names have no room."""
    face = Face(LETTERS_PX)
    if all(
        face.getlength(name) <= room - 6 and face.getlength(f"less {name}") <= room_of_pair - 6
        for name in treatments
    ):
        return {name: name for name in treatments}
    letters = (ascii_uppercase[k % 26] * (k // 26 + 1) for k in range(len(treatments)))
    return dict(zip(treatments, letters, strict=True))


def _draw_walls(
    contrast: Contrast,
    measure: Measure,
    units: Sequence[Unit],
    keyed: dict[str, str],
    left: float,
    right: float,
) -> list[Markup]:
    scale = Scale.over([value for unit in units for value in unit.wall_values], measure.scale, measure.most)

    def row(value: float) -> float:
        return scale.between(BOTTOM, TOP, value * measure.scale)

    step = (right - left) / len(contrast.treatments)
    at = {name: left + step * (k + 0.5) for k, name in enumerate(contrast.treatments)}
    half = min(20.0, 0.4 * step)
    marks = scale.upright(left, right, TOP, BOTTOM, signed=False)
    marks.append(text(4, 16, measure.on_axis, "start"))
    pits: dict[str, list[Unit]] = {}
    for unit in units:
        pits.setdefault(unit.pit, []).append(unit)
    every = -(-len(pits) // MOST_PITS)
    drawn = list(pits.values())[::every]
    for members in drawn:
        joined = [(at[unit.treatment], row(unit.value)) for unit in members]
        if len(joined) > 1:
            marks.append(path(joined, "joined"))
    for name, x in at.items():
        mine = [unit for unit in units if unit.treatment == name]
        tint = colour(contrast.treatments, name)
        if mine:
            mean = row(float(np.mean([unit.value for unit in mine])))
            marks.append(line(x - half, mean, x + half, mean, "mean"))
        for unit in (unit for members in drawn for unit in members if unit.treatment == name):
            for wall, value in zip(unit.walls, unit.wall_values, strict=True):
                marks.append(_dot(x, row(value), tint, f"{wall}: {measure.says(value)}"))
        marks.append(text(x, BOTTOM + 20, keyed[name], "middle"))
    return marks


def _scale_of(measure: Measure, pairs: Sequence[Pair]) -> Scale:
    ends = [x for pair in pairs for x in (pair.effect.low, pair.effect.value, pair.effect.high)]
    return Scale.over([0.0, *ends], measure.scale, measure.most)


def _draw_differences(
    measure: Measure, pairs: Sequence[Pair], keyed: dict[str, str], left: float, right: float
) -> list[Markup]:
    """Few pairs, side by side."""
    scale = _scale_of(measure, pairs)
    marks = scale.upright(left, right, TOP, BOTTOM, signed=True)
    zero = scale.between(BOTTOM, TOP, 0.0)
    marks.append(text(right, 16, measure.apart_on_axis, "end"))
    marks.append(line(left, zero, right, zero, "zero"))
    step = (right - left) / len(pairs)
    for k, pair in enumerate(pairs):
        x = left + step * (k + 0.5)
        low, value, high = (scale.between(BOTTOM, TOP, end) for end in _ends(measure, pair))
        if math.isfinite(pair.effect.low):
            marks.append(line(x, low, x, high, "interval"))
        marks.append(_dot(x, value, "#26221e", _says(measure, pair)))
        marks.append(text(x, BOTTOM + 20, keyed[pair.first], "middle"))
        marks.append(text(x, BOTTOM + 36, f"less {keyed[pair.second]}", "middle"))
    return marks


def _draw_rows(measure: Measure, pairs: Sequence[Pair], keyed: dict[str, str], top: float) -> list[Markup]:
    """Many pairs, one below the other, with their figures; those that differ in full ink."""
    scale, face = _scale_of(measure, pairs), Face(LETTERS_PX)
    names = [f"{keyed[pair.first]} less {keyed[pair.second]}" for pair in pairs]
    figures = [_figures(measure, pair) for pair in pairs]
    left = 4 + max(face.getlength(name) for name in names) + 20
    right = WIDTH - EDGE - max(Face(TICK_PX).getlength(figure) for figure in figures) - 18
    first = top + 42
    bottom = first + PAIR_ROW * len(pairs)
    marks = [text(4, top, f"{measure.apart_on_axis}; in brackets the likely range", "start")]
    marks += scale.level(left, right, first - 4, bottom, signed=True)
    zero = scale.between(left, right, 0.0)
    marks.append(line(zero, first - 4, zero, bottom, "zero"))
    for k, (pair, name, figure) in enumerate(zip(pairs, names, figures, strict=True)):
        y = first + PAIR_ROW * (k + 0.5)
        low, value, high = (scale.between(left, right, end) for end in _ends(measure, pair))
        kind = "" if pair.test and pair.p_holm < LEVEL else "tick"
        if math.isfinite(pair.effect.low):
            marks.append(line(low, y, high, y, "interval"))
        marks.append(_dot(value, y, "#26221e", _says(measure, pair)))
        marks.append(text(4, y + 4, name, "start"))
        marks.append(text(WIDTH - EDGE, y + 4, figure, "end", kind))
    return marks


def _ends(measure: Measure, pair: Pair) -> tuple[float, float, float]:
    effect = pair.effect
    return effect.low * measure.scale, effect.value * measure.scale, effect.high * measure.scale


def _says(measure: Measure, pair: Pair) -> str:
    return f"{pair.first} less {pair.second}: {measure.bare(pair.effect.value, True)}{measure.unit_apart}"


def _figures(measure: Measure, pair: Pair) -> str:
    effect = pair.effect
    value = measure.bare(effect.value, True)
    if not math.isfinite(effect.low):
        return value
    return f"{value} ({measure.bare(effect.low, True)} to {measure.bare(effect.high, True)})"


def _dot(x: float, y: float, tint: str, says: str) -> Markup:
    return Markup(
        '<circle cx="{:.1f}" cy="{:.1f}" r="5" fill="{}" class="wall-dot"><title>{}</title></circle>'
    ).format(x, y, tint, says)

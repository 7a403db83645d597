"""How figures are said: one way for the picture, the page and the console."""

import math
import re
from collections.abc import Sequence

from rootread.fieldsheet import RecordedLayer, SheetRow
from rootread.judge.recorded import may_be
from rootread.judge.types import Layer
from rootread.measure.types import Interval
from rootread.plane.types import LevelSource, WallPlane
from rootread.settings import MeasureSettings
from rootread.shares import percent
from rootread.units import length_range, length_words, lengths_shown_in, per_length_shown, shown, unit_shown

_A_UNIT = {"in": "an inch", "cm": "a centimetre"}
_LEVEL_WORDS: dict[LevelSource, str] = {
    "card": "Plumb from the hung card.",
    "staff": "Plumb from the staff.",
    "photo": "Plumb taken from the photo's own upright.",
    "surface": "Plumb taken square to the soil surface.",
    "marks": "Plumb marked by hand.",
}

_TOGETHER = re.compile(r"(?<=\b[pF]) (?=[=<])|(?<=[=<±]) (?=\d)|(?<=\d) (?=(?:%|in|cm)(?!\w))")


def kept_together(sentence: str) -> str:
    """A sentence in which no line ends within ``p = 0.25``, ``5 %``, ``7.1 in`` or ``± 0.3 in``."""
    return _TOGETHER.sub("\N{NO-BREAK SPACE}", sentence)


def in_both_units(length_in: float) -> str:
    """``6.8 in (17 cm)``, or ``17.3 cm (6.8 in)`` where lengths are shown in cm."""
    if not math.isfinite(length_in):
        return "–"
    if unit_shown() == "cm":
        with lengths_shown_in("in"):
            also = length_words(length_in)
    else:
        with lengths_shown_in("cm"):
            also = length_words(length_in, 0)
    return f"{length_words(length_in)} ({also})"


def between_depths(top_in: float, bottom_in: float, digits: int = 1) -> str:
    """``2 to 4 in``, or ``0 to 2 in above the mean surface`` where the ground lies higher than that."""
    if bottom_in <= 0:
        return f"{length_range(abs(bottom_in), -top_in, digits)} {unit_shown()} above the mean surface"
    return f"{length_range(top_in, bottom_in, digits)} {unit_shown()}"


def between_places(from_in: float, to_in: float, digits: int = 1) -> str:
    """``4 to 8 in right`` of the scale object's centre, ``0 to 4 in left``, ``5 in left to 11 in right``."""
    if round(shown(to_in), digits) <= 0:
        return f"{length_range(abs(to_in), -from_in, digits)} {unit_shown()} left"
    if round(shown(from_in), digits) < 0:
        return f"{length_words(-from_in, digits)} left to {length_words(to_in, digits)} right"
    return f"{length_range(abs(from_in), to_in, digits)} {unit_shown()} right"


def degrees(angle_deg: float) -> str:
    """``31°``."""
    return f"{angle_deg:.0f}°" if math.isfinite(angle_deg) else "–"


def score(value: float) -> str:
    """A grade or the score of one of its parts, whole."""
    return f"{value:.0f}" if math.isfinite(value) else "–"


def count(number: int, one: str, many: str | None = None) -> str:
    """``1 root``, ``3 roots``."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def listing(items: Sequence[str]) -> str:
    """``a, b and c``."""
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} and {items[-1]}"


def passage_words(reached: int, crossed: int, turned: int, stopped: int) -> str:
    """What the roots did there: ``of 22 roots that came to it 3 crossed, 16 turned, 3 stopped``."""
    if reached == 0:
        return "no root came to it"
    words = f"of {count(reached, 'root')} that came to it {crossed} crossed"
    if turned:
        words += f", {turned} turned"
    if stopped:
        words += f", {stopped} stopped"
    return words


def passage_likely_words(layer: Layer) -> str:
    """What so few roots tell of others like them: ``of 100 such roots, likely 2 to 22 cross``."""
    if layer.reached == 0:
        return ""
    interval = layer.passage_interval
    return f"of 100 such roots, likely {range_words(100 * interval.low, 100 * interval.high)} cross"


def layer_depth_words(layer: Layer) -> str:
    """``6.8 in (17 cm)``; a sloped or stepped layer from its left to its right end."""
    if layer.line.shape == "level":
        return in_both_units(layer.depth_in)
    way = "sloping" if layer.line.shape == "sloped" else "with a step"
    return f"{layer_short_words(layer)}, {way} from left to right"


def layer_short_words(layer: Layer) -> str:
    """``6.8 in``; ``5.4 to 9.2 in`` from the left to the right end of a layer that is not level."""
    if layer.line.shape == "level":
        return length_words(layer.depth_in)
    left, right = layer.line.line_in[0][1], layer.line.line_in[-1][1]
    return f"{shown(left):.1f} to {length_words(right)}"


def interval_words(interval: Interval, between: str = " to ") -> str:
    """``28 to 35``; a dash where the interval is not known."""
    return range_words(interval.low, interval.high, 0, between)


def range_words(low: float, high: float, digits: int = 0, between: str = " to ") -> str:
    """``2.8 to 3.5``; a dash where an end is not known."""
    if not (math.isfinite(low) and math.isfinite(high)):
        return "–"
    return f"{low:.{digits}f}{between}{high:.{digits}f}"


def crack_words(cracked: int, stretches: int) -> str:
    """How many of so many flattened stretches, one or more, lie in cracks."""
    if stretches == 1:
        return "flattened in a crack" if cracked else "in no crack that shows"
    if cracked == stretches:
        return f"{'both' if stretches == 2 else 'all'} flattened in a crack"
    return f"{cracked} of them flattened in a crack" if cracked else "none in a crack that shows"


def percent_range(interval: Interval) -> str:
    """A share with its range: ``27 % (22 to 31)``."""
    if not math.isfinite(interval.value):
        return "–"
    return f"{percent(interval.value)} ({range_words(100 * interval.low, 100 * interval.high)})"


def sheet_layer(layer: Layer, row: SheetRow) -> RecordedLayer | None:
    """The layer of the field sheet that a found one was matched to."""
    named = [recorded for recorded in row.layers if recorded.name == layer.recorded]
    return min(named, key=lambda recorded: abs(recorded.depth_in - layer.depth_in), default=None)


def recorded_words(layer: Layer, row: SheetRow) -> str:
    """The matched layer as the sheet has it, ``disk 7.5 in``; ``unrecorded`` without one."""
    recorded = sheet_layer(layer, row)
    return _as_written(recorded) if recorded else layer.recorded or "unrecorded"


def _as_written(recorded: RecordedLayer) -> str:
    return f"{recorded.name} {round(shown(recorded.depth_in), 1):g} {unit_shown()}"


def recorded_alone(layers: Sequence[Layer], row: SheetRow) -> list[RecordedLayer]:
    """Layers of the field sheet that no found layer was matched to."""
    matched = [sheet_layer(layer, row) for layer in layers]
    return [recorded for recorded in row.layers if recorded not in matched]


def recorded_besides(layers: Sequence[Layer], row: SheetRow) -> list[str]:
    """What to say of layers of the sheet that no found layer was matched to, a sentence each kind."""
    alone = recorded_alone(layers, row)
    near = [one for one in alone if any(may_be(layer, one) for layer in layers)]
    told = []
    if near:
        told.append(
            f"The sheet also records {listing([_as_written(one) for one in near])}, too near to tell apart "
            "from the layer that was found."
        )
    away = [_as_written(one) for one in alone if one not in near]
    if away:
        told.append(
            f"The sheet {'also ' if layers else ''}records {listing(away)}; roots show no layer there."
        )
    return told


def sheet_lines(row: SheetRow) -> list[str]:
    """What the field sheet says of a wall: ``pit1 · shallow pass`` and ``corn V9 · 2026-07-09``."""
    crop = " ".join(part for part in (row.crop, row.stage) if part)
    lines = [(row.pit, row.treatment), (crop, row.date)]
    return [" · ".join(part for part in line if part) for line in lines if any(line)]


def pattern_range(measure: MeasureSettings) -> str:
    """``30 to 35° below level``, or from plumb where the settings say it so."""
    counted = "from plumb" if measure.pattern_from == "plumb" else "below level"
    return f"{measure.pattern_low_deg:.0f} to {measure.pattern_high_deg:.0f}° {counted}"


def pattern_words(measure: MeasureSettings) -> str:
    """``growth pattern, 30 to 35° below level``."""
    return f"growth pattern, {pattern_range(measure)}"


def _within(share: float) -> str:
    """How far off a scale may be; no scale object is printed or hung truer than to one part in a thousand."""
    return "within 0.1 %" if 100 * share < 0.1 else f"give or take {100 * share:.1f} %"


def scale_words(plane: WallPlane) -> str:
    """How the wall got its scale and its plumb line."""
    scale = plane.scale
    density = f"{per_length_shown(scale.px_per_in):.1f} photo pixels {_A_UNIT[unit_shown()]}"
    words = f"Scale from the {scale.kind}: {density}"
    if math.isfinite(scale.px_per_in_se) and scale.px_per_in > 0:
        words += f", {_within(2 * scale.px_per_in_se / scale.px_per_in)}"
    return f"{words}. {_LEVEL_WORDS[plane.level.source]}"

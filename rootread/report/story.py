"""What a wall shows, said in sentences and in a short list of figures."""

import math

from rootread.fieldsheet import SheetRow, depths_asked, is_corn, places_asked, told_of_places
from rootread.fieldsheet.depths import told_of_depths
from rootread.judge.spacing import spacing_by_sheet
from rootread.judge.types import Layer
from rootread.measure.projection import LEAVING_DEG
from rootread.measure.types import Interval, Readings
from rootread.plane import WallPlane, shown_across_in, shown_down_to_in
from rootread.report.byhand import hand_figures
from rootread.report.ground import caliper_figures, floor_figures, spacing_figures
from rootread.report.words import (
    count,
    crack_words,
    degrees,
    interval_words,
    layer_depth_words,
    listing,
    passage_words,
    pattern_range,
    percent_range,
    recorded_words,
    scale_words,
)
from rootread.settings import Settings
from rootread.shares import percent
from rootread.units import length_range, length_words
from rootread.wall import Wall

LADDER_FROM_IN, SHORING_FROM_IN = 48.0, 60.0
"""Depths of a pit from which 29 CFR 1926.651-652 (OSHA; from memory) asks for a ladder and for protection."""


def story(wall: Wall, settings: Settings) -> list[str]:
    """What the roots of a wall did, plain words first."""
    readings = wall.readings
    if not readings.roots:
        return ["No roots were found on this wall, so nothing is said about it."]
    told = [
        f"Roots went down at {degrees(readings.descent.value)} below level on average "
        f"(likely {interval_words(readings.descent)}°). A corn root that nothing hinders goes down at "
        f"{pattern_range(settings.measure)}."
    ]
    told += [_layer_sentence(layer, wall.row) for layer in wall.layers]
    if not wall.layers and wall.marks.layers_struck_px:
        told.append("Where the program saw something hold the roots, a person who looked found no layer.")
    elif not wall.layers and tells_too_little(wall):
        told.append("So few roots do not tell of a layer.")
    elif not wall.layers:
        told.append("There is no depth at which they turned or stopped more often than chance would have it.")
    runs = [run for root in readings.roots for run in root.runs]
    if runs:
        longest = max(runs, key=lambda run: run.length_in)
        share = readings.sideways_in / readings.root_length_in
        told.append(
            f"{length_words(readings.sideways_in, 0)} of root ran sideways, {percent(share)} of what was "
            f"traced; the longest run is {length_words(longest.length_in)}, "
            f"{length_words(longest.depth_in)} deep."
        )
    return told


def cautions(wall: Wall) -> list[str]:
    """What the stages said to be careful about."""
    return [
        *wall.plane.cautions,
        *wall.root_map.told,
        *_of_depths(wall),
        *told_of_places(places_asked(wall.row, shown_across_in(wall.image, wall.marks))),
        *_of_another_crop(wall.row),
        *_too_few(wall),
    ]


def look_again_first(wall: Wall) -> str:
    """What goes before the advice where the photo is hard to read and nobody says that it was read right."""
    if not wall.readings.roots or not wall.root_map.cautions or wall.marks.checked:
        return ""
    return (
        "Look again first: a note above says why this photo is hard to read. Compare the picture with the "
        "wall, or take the photo anew, before you act on what follows."
    )


def _of_depths(wall: Wall) -> list[str]:
    """Depths of the sheet that cannot be, since advice goes by them."""
    deepest_in = shown_down_to_in(wall.image, wall.marks)
    asked = depths_asked(wall.row, deepest_in, wall.plane.surface.se_in)
    return [told_of_depths(asked)] if asked else []


def _of_another_crop(row: SheetRow | None) -> list[str]:
    """Roots of other crops go down at angles of their own."""
    if row is None or not row.crop or is_corn(row.crop):
        return []
    return [
        f"The sheet says {row.crop}: the growth pattern that descent and grade are measured by is corn's, so "
        "compare this wall with others of its crop, not with the words of the verdict."
    ]


def _too_few(wall: Wall) -> list[str]:
    """A grade of a handful of roots says little of the wall, however alike they are."""
    if not wall.readings.roots or not tells_too_little(wall):
        return []
    evidence = wall.judgement.advice[0].evidence
    return [f"Too few roots to go by: {evidence} The grade is theirs, and says little of the wall."]


def tells_too_little(wall: Wall) -> bool:
    """Whether so few roots were read that nothing is advised on them."""
    return [one.kind for one in wall.judgement.advice] == ["look again"]


def key_figures(wall: Wall) -> list[tuple[str, str]]:
    """Names and values, intervals included."""
    readings = wall.readings
    roots = (
        [
            *_root_figures(readings, caliper_figures(wall)),
            *_leaving_figures(readings, wall.judgement.least_descent_deg),
        ]
        if readings.roots
        else []
    )
    floor = wall.judgement.floor
    spacing = (floor.spacing if floor is not None else None) or spacing_by_sheet(wall.row)
    return [
        *roots,
        *floor_figures(floor),
        *spacing_figures(spacing),
        *_photo_figures(wall.plane),
        *hand_figures(wall),
    ]


def _root_figures(readings: Readings, by_calipers: list[tuple[str, str]]) -> list[tuple[str, str]]:
    sure = readings.intervals
    return [
        (
            "traced",
            f"{count(len(readings.roots), 'root')}, {length_words(readings.root_length_in, 0)} "
            f"(true length {length_range(sure.root_length_in.low, sure.root_length_in.high, 0)})",
        ),
        ("mean descent", f"{degrees(readings.descent.value)} ({interval_words(readings.descent)})"),
        (
            "against the growth pattern",
            f"{percent_range(sure.shallow_share)} shallower, {percent_range(sure.in_pattern_share)} in it, "
            f"{percent_range(sure.steep_share)} steeper",
        ),
        ("longer than the straight way", percent_range(_longer_by(sure.tortuosity))),
        ("looks squeezed flat", _flattened_words(readings)),
        *by_calipers,
        (
            "ran sideways",
            f"{length_words(readings.sideways_in, 0)} "
            f"({length_range(sure.sideways_in.low, sure.sideways_in.high, 0)})",
        ),
    ]


def _leaving_figures(readings: Readings, least_descent_deg: float) -> list[tuple[str, str]]:
    """What a flat photo may hide of the descent."""
    if not math.isfinite(least_descent_deg):
        return []
    return [
        (
            "if roots leave the wall plane",
            f"by {LEAVING_DEG:.0f}°, every one, the mean descent is {degrees(least_descent_deg)}, "
            f"not {degrees(readings.descent.value)}",
        )
    ]


def _flattened_words(readings: Readings) -> str:
    words = f"{percent_range(readings.intervals.flattened_share)} of the length of all roots, fine ones too"
    flats = readings.flats
    if not flats:
        return words
    longest = max(flats, key=lambda flat: flat.length_in)
    held = crack_words(sum(flat.crack is not None for flat in flats), len(flats))
    which = "it is" if len(flats) == 1 else "the longest is"
    return (
        f"{words}, in {count(len(flats), 'stretch', 'stretches')}, {held}; {which} "
        f"{length_words(longest.length_in)} long, {length_words(longest.depth_in)} deep"
    )


def _photo_figures(plane: WallPlane) -> list[tuple[str, str]]:
    return [
        ("scale and plumb", scale_words(plane)),
        ("camera off square", degrees(plane.tilt_deg) if math.isfinite(plane.tilt_deg) else "cannot be told"),
        (
            "soil surface",
            f"{_SURFACE_WORDS[plane.surface.source]}, ± {length_words(2 * plane.surface.se_in)}",
        ),
    ]


def safety_of_pit(row: SheetRow) -> list[str]:
    """What the pit's depth asks for before anyone climbs in."""
    depth_in = row.pit_depth_in
    if depth_in is None or depth_in < LADDER_FROM_IN:
        return []
    needs = ["a ladder within 25 feet (7.5 m)"]
    if depth_in >= SHORING_FROM_IN:
        needs.append("a protective system (shoring, shielding or sloping) unless it is in stable rock")
    return [
        f"This pit is {depth_in / 12:.1f} ft ({depth_in * 0.0254:.1f} m) deep. "
        f"At this depth it needs {listing(needs)}; local codes decide."
    ]


def _longer_by(tortuosity: Interval) -> Interval:
    """By what share of it roots are longer than the straight way; never by less than nothing."""
    return Interval(*(max(value - 1, 0.0) for value in (tortuosity.value, tortuosity.low, tortuosity.high)))


_SURFACE_WORDS = {"photo": "found in the photo", "marks": "marked by hand", "assumed": "assumed, not seen"}


def _layer_sentence(layer: Layer, row: SheetRow) -> str:
    words = recorded_words(layer, row)
    on_sheet = "" if words == "unrecorded" else f" The sheet records {words} there."
    did = passage_words(layer.reached, layer.crossed, layer.turned, layer.stopped)
    comma = "" if layer.line.shape == "level" else ","
    what = "something held the roots" if layer.shown_by_roots else "a person marked a layer"
    return f"At {layer_depth_words(layer)}{comma} {what}: {did}.{on_sheet}"

"""The marks on the photo: soil surface, layers, traces, sideways runs and their labels."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.fieldsheet import RecordedLayer, SheetRow
from rootread.geometry import Points, arc_length, resample_polyline
from rootread.judge.types import Layer
from rootread.measure.types import RootReading, SidewaysRun
from rootread.report.colours import DARK, INK, LEVEL, RGB, WHITE, descent_colours
from rootread.report.ground import draw_ground, ground_lines, told_places
from rootread.report.lettering import LabelRoom
from rootread.report.strokes import Sheet, dashed, opaque, stretches, stroke, veil
from rootread.report.view import View
from rootread.report.waydown import way_down
from rootread.report.words import layer_short_words, passage_words, recorded_alone, recorded_words
from rootread.units import length_words

if TYPE_CHECKING:
    from rootread.wall import Wall

LETTERS_PX = 34
TRACE_PX, CASING_PX = 3, 6
RUN_PX, RUN_CASING_PX = 6, 12
FLAT_PX = 18
DASH_PX, GAP_PX = 18.0, 12.0
FINE_PX = 6.0
"""Colours and dashes change at steps this long."""
COLOUR_STEP_DEG = 3.0
RUNS_LABELLED = 4
RUN_LABEL_PLACES = (
    ((-48, 48, -96, 96, -150, 150), (0.0, -0.5, 0.5, -0.9, 0.9)),
    ((-48, 48, -96, 96, -150, 150, -210, 210, -270, 270), (-1.0, 1.0, 0.0, -0.5, 0.5)),
)
"""Pixels below a run, and half lengths of it from its middle, where its length may be written; the second
where nothing of the first is free, so that the longest run does not go without."""
SAME_PLACE_IN = 0.75
"""Of two runs this close in depth that lie above one another, only the longer gets a label."""


class _Piece(NamedTuple):
    line_px: Points
    colour: RGB
    sideways: bool


def draw_lines(sheet: Sheet, view: View, wall: "Wall") -> None:
    """Draw surface, shanks, layers, traces, cone and floor onto the sheet, in place, without any words."""
    surface = view.px(wall.plane.surface.line_in)
    veil(sheet, [surface], DARK, 5, 0.5)
    veil(sheet, [surface], WHITE, 2, 0.9)
    for x_in in wall.row.shanks_at_in:
        _draw_shank(sheet, view, wall.plane.surface.line_in, x_in)

    for layer in recorded_alone(wall.layers, wall.row):
        if not view.shows_down_to(layer.depth_in):
            continue
        level = _off_the_scale(view, wall, view.level_line(layer.depth_in))
        line = [dash for piece in level for dash in dashed(piece, 10, 14)]
        veil(sheet, line, DARK, 5, 0.4)
        veil(sheet, line, WHITE, 2, 0.8)
    for found in wall.layers:
        line = _off_the_scale(view, wall, view.layer_line(found))
        veil(sheet, line, DARK, 13, 0.5)
        stroke(sheet, line, WHITE, 5)
    _draw_traces(sheet, view, wall.readings.roots)
    draw_ground(sheet, view, wall.judgement)


def lay_out_labels(sheet: Sheet, view: View, wall: "Wall") -> LabelRoom:
    """Where the words go that belong to the lines; what leads from a word to its line is drawn, in place."""
    room = LabelRoom(
        (view.right_px + 1, view.size_px[1]),
        view.left_px,
        np.vstack(
            [
                np.empty((0, 2)),
                *(view.px(root.trace.points) for root in wall.readings.roots),
                *(resample_polyline(line, FINE_PX)[0] for line in ground_lines(view, wall.judgement)),
            ]
        ),
        [view.from_photo(outline) for outline in wall.plane.scale.outlines_px]
        + told_places(view, wall.judgement),
    )
    for found in wall.layers:
        _label_layer(view, found, wall.row, room)
    for run in runs_to_label(wall.readings.roots):
        _label_run(sheet, view, run, room)
    for layer in recorded_alone(wall.layers, wall.row):
        if view.shows_down_to(layer.depth_in):
            _label_recorded(view, layer, room)
    return room


def runs_to_label(roots: tuple[RootReading, ...]) -> list[SidewaysRun]:
    """The longest few sideways runs, one for each place."""
    return apart([run for root in roots for run in root.runs], RUNS_LABELLED)


def apart(runs: list[SidewaysRun], most: int) -> list[SidewaysRun]:
    """The longest of some runs, none of which lies over another."""
    chosen: list[SidewaysRun] = []
    for run in sorted(runs, key=lambda run: -run.length_in):
        if len(chosen) < most and not any(_same_place(run, other) for other in chosen):
            chosen.append(run)
    return chosen


def on_run(root: RootReading, run: SidewaysRun) -> NDArray[np.bool_]:
    """``(N,)`` True at the points of a root that lie on one of its sideways runs."""
    x, z = root.trace.points.T
    within_x = (x >= run.x_from_in - 1e-6) & (x <= run.x_to_in + 1e-6)
    # A run stays within 12 degrees of level, so over its length it leaves its mean depth by little.
    return within_x & (np.abs(z - run.depth_in) <= max(0.3, 0.25 * run.length_in))


def _draw_traces(sheet: Sheet, view: View, roots: tuple[RootReading, ...]) -> None:
    flat: list[Points] = []
    pieces: list[_Piece] = []
    for root in roots:
        line = view.px(root.trace.points)
        flat.extend(line[a : b + 1] for a, b in stretches(root.flattened[:, np.newaxis]) if root.flattened[a])
        pieces.extend(_pieces(line, root))
    thin = [piece for piece in pieces if not piece.sideways]
    thick = [piece for piece in pieces if piece.sideways]
    veil(sheet, flat, WHITE, FLAT_PX, 0.45)
    veil(sheet, [piece.line_px for piece in thin], DARK, CASING_PX, 0.45)
    veil(sheet, [piece.line_px for piece in thick], DARK, RUN_CASING_PX, 0.45)
    for piece in [*thin, *thick]:
        stroke(sheet, [piece.line_px], piece.colour, RUN_PX if piece.sideways else TRACE_PX)


def _pieces(line_px: Points, root: RootReading) -> Iterator[_Piece]:
    """A root in pieces of one colour; where it was bridged, dashes."""
    fine, at = resample_polyline(line_px, FINE_PX)
    along = arc_length(line_px)
    descent_deg = np.interp(at, along, way_down(root).descent_deg)
    on_any_run = np.any([on_run(root, run) for run in root.runs] or [np.zeros(len(along), bool)], axis=0)
    sideways = np.interp(at, along, on_any_run) > 0.5
    bridged = np.interp(at, along, root.trace.inferred) > 0.5
    gap = bridged & (at % (DASH_PX + GAP_PX) >= DASH_PX)
    step = np.floor(np.clip(descent_deg, 0, 90) / COLOUR_STEP_DEG)
    shown = [piece for piece in stretches(np.column_stack([step, sideways, gap])) if not gap[piece[0]]]
    colours = descent_colours([descent_deg[first : last + 1].mean() for first, last in shown])
    for (first, last), (red, green, blue) in zip(shown, colours.tolist(), strict=True):
        yield _Piece(fine[first : last + 2], (red, green, blue), bool(sideways[first]))


def _off_the_scale(view: View, wall: "Wall", line: Points) -> list[Points]:
    """The pieces of a line that do not run over the scale object."""
    covered = np.zeros(len(line))
    for outline in wall.plane.scale.outlines_px:
        shape = view.from_photo(outline).astype(np.float32)
        covered += [cv2.pointPolygonTest(shape, (float(x), float(y)), False) >= 0 for x, y in line]
    pieces = stretches((covered > 0)[:, np.newaxis])
    return [line[first : last + 1] for first, last in pieces if not covered[first]]


def _label_layer(view: View, layer: Layer, row: SheetRow, room: LabelRoom) -> None:
    line = view.layer_line(layer)
    named = f" (sheet: {recorded_words(layer, row)})" if layer.recorded else ""
    text = f"layer at {layer_short_words(layer)}{named}\n"
    text += passage_words(layer.reached, layer.crossed, layer.turned, layer.stopped)
    places = [
        (x, y + below)
        for below in (64, 110, 160, 210, 260, -70, -120)
        for x, y in (line[len(line) * part // 16] for part in (12, 4, 14, 2, 8, 10, 6, 15, 1))
    ]
    room.place(text, places, size_px=LETTERS_PX, ink=DARK, plate=WHITE, opacity=0.9)


def _label_recorded(view: View, layer: RecordedLayer, room: LabelRoom) -> None:
    line = view.level_line(layer.depth_in)
    places = [
        (float(np.interp(part, [0, 1], [line[0, 0], line[-1, 0]])), line[len(line) // 2, 1] + below)
        for part in (0.99, 0.01, 0.8, 0.2, 0.6, 0.4)
        for below in (-30, 30)
    ]
    text = f"{layer.name} {length_words(layer.depth_in)}"
    # Among many roots a line without its name would say nothing: there the name alone may cover some.
    for words, most_roots in ((f"{text}, from the sheet", 0.15), (text, 0.5)):
        if room.place(
            words,
            places,
            size_px=LETTERS_PX - 6,
            ink=WHITE,
            plate=INK,
            opacity=0.7,
            most_roots=most_roots,
        ):
            return


def _label_run(sheet: Sheet, view: View, run: SidewaysRun, room: LabelRoom) -> None:
    middle = view.px([[(run.x_from_in + run.x_to_in) / 2, run.depth_in]])[0]
    half_px = view.px([[run.x_to_in, run.depth_in]])[0, 0] - middle[0]
    label = None
    for below_px, alongs in RUN_LABEL_PLACES:
        places = [
            (float(middle[0] + half_px * along), float(middle[1] + below))
            for below in below_px
            for along in alongs
        ]
        label = label or room.place(
            f"{length_words(run.length_in)} sideways",
            places,
            size_px=LETTERS_PX,
            ink=DARK,
            plate=LEVEL,
            opacity=0.92,
            leads_to_px=float(middle[1]),
        )
    if label is not None:
        ends = view.px([[run.x_from_in, run.depth_in], [run.x_to_in, run.depth_in]])
        x = float(np.clip(label.centre[0], *np.sort(ends[:, 0])))
        row = float(np.interp(x, ends[:, 0], ends[:, 1]))
        near = label.y + label.height if label.y < row else label.y
        leader = np.array([[x, near], [x, row]])
        stroke(sheet, [leader], DARK, 5)
        stroke(sheet, [leader], LEVEL, 2)


def _draw_shank(sheet: Sheet, view: View, surface_in: Points, x_in: float) -> None:
    """A wedge above the soil surface where a shank went through; none where the photo does not reach."""
    if not view.shows_across(x_in):
        return
    z_in = np.interp(x_in, surface_in[:, 0], surface_in[:, 1])
    tip = view.px([[x_in, z_in]])[0]
    wedge = tip + np.array([[0, 0], [-15, -34], [15, -34]])
    cv2.fillPoly(sheet, [np.round(wedge).astype(np.int32)], opaque(WHITE), cv2.LINE_AA)
    stroke(sheet, [np.vstack([wedge, wedge[:1]])], DARK, 3)


def _same_place(one: SidewaysRun, other: SidewaysRun) -> bool:
    overlap = min(one.x_to_in, other.x_to_in) - max(one.x_from_in, other.x_from_in)
    return abs(one.depth_in - other.depth_in) < SAME_PLACE_IN and overlap > 0

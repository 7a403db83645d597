"""Figures within a moment of a change, before the wall is read whole again.

Where the photo need not be looked at again, the figures are those of the whole
reading. Otherwise layers stay where they were found, and traces that were
followed are carried over to where the change puts them: by way of the photo's
pixels onto the new plane, or cut where a stroke says soil. The whole reading
that follows replaces all of it.
"""

from dataclasses import replace

import cv2
import numpy as np

from rootread.desk.stages import Reading, Seen, judged, same_plane, same_sight
from rootread.fieldsheet import SheetRow
from rootread.follow import Trace
from rootread.geometry import Points, resample_polyline
from rootread.judge import Layer
from rootread.marks import Marks, RootMark, Stroke
from rootread.photo import Photo
from rootread.plane import WallPlane, find_plane
from rootread.plane.marked import LONGEST_ROOT_IN
from rootread.plane.scale import Located
from rootread.settings import Settings
from rootread.units import lengths_shown_in

STEP_IN = 0.05
LEAST_POINTS = 6
"""A piece of trace shorter than this, left by a stroke, is let go."""


def glance(
    last: Reading,
    seen: Seen,
    row: SheetRow,
    marks: Marks,
    settings: Settings,
    located: Located | None = None,
) -> Reading:
    """The figures as far as they can be told at once.

    Parameters
    ----------
    last : the reading so far.
    seen : a whole reading of the photo, the nearest there is to the marks.
    located : the scale object where marks and row leave it as it was; it saves looking for it.

    Raises
    ------
    NoBelievableScale : the marked scale points cannot be a scale.
    BadMarks : what is marked cannot be on the wall.
    """
    if same_sight(seen, row, marks):
        return judged(seen, seen.plane, seen.traces, row, marks, settings)
    plane = seen.plane if same_plane(seen, row, marks) else _plane(seen, row, marks, settings, located)
    traces = tuple(_moved(trace, seen.plane, plane) for trace in seen.traces)
    fresh = [stroke for stroke in marks.strokes if stroke not in seen.marks.strokes]
    for stroke in fresh:
        if stroke.says == "soil":
            traces = _rubbed_out(traces, plane, stroke)
    drawn = tuple(
        RootMark(stroke.points_px, stroke.width_px)
        for stroke in fresh
        if stroke.says == "root"
        and len(stroke.points_px) > 1
        and _length(plane.to_wall_in(np.array(stroke.points_px))) < LONGEST_ROOT_IN
    )
    if marks.outline_px != seen.marks.outline_px and marks.outline_px:
        traces = _within(traces, plane, np.array(marks.outline_px))
    told = replace(marks, roots_added=(*marks.roots_added, *drawn))
    found = [_carried(layer, last.plane, plane) for layer in last.found]
    return judged(seen, plane, traces, row, told, settings, found)


def _carried(layer: Layer, old: WallPlane, new: WallPlane) -> Layer:
    """The layer where it lies in the photo, in the inches of the new plane."""
    if new is old:
        return layer
    line_in = new.to_wall_in(old.to_photo_px(np.array(layer.line.line_in)))
    x_in, depth_in = line_in.T
    return replace(
        layer,
        depth_in=float(depth_in.mean()),
        x_from_in=float(x_in.min()),
        x_to_in=float(x_in.max()),
        fitted=None,
    )


def _plane(seen: Seen, row: SheetRow, marks: Marks, settings: Settings, located: Located | None) -> WallPlane:
    """The new plane; a surface that nobody marked is taken to be where it was seen in the photo."""
    if not marks.scale_points and located is None:
        return seen.plane
    if not marks.surface_px:
        line = seen.plane.to_photo_px(seen.plane.surface.line_in)
        marks = replace(marks, surface_px=tuple((float(x), float(y)) for x, y in line))
    # The scale is given and the surface is given, so that no pixel is looked at.
    columns, rows = seen.photo_size_px
    blank = Photo(None, np.broadcast_to(np.zeros((1, 1, 3), np.uint8), (rows, columns, 3)))
    with lengths_shown_in(settings.report.units):
        return find_plane(blank, row, marks, settings.plane, located)


def _moved(trace: Trace, old: WallPlane, new: WallPlane) -> Trace:
    if new is old:
        return trace
    points = new.to_wall_in(old.to_photo_px(trace.points))
    grown = _length(points) / max(_length(trace.points), 1e-9)
    return replace(trace, points=points, width_in=trace.width_in * grown)


def _rubbed_out(traces: tuple[Trace, ...], plane: WallPlane, stroke: Stroke) -> tuple[Trace, ...]:
    """Traces without the stretches under a soil stroke."""
    line = np.array(stroke.points_px, dtype=float)
    if len(line) > 1:
        line = resample_polyline(line, max(stroke.width_px / 4, 1.0))[0]
    left: list[Trace] = []
    for trace in traces:
        photo_px = plane.to_photo_px(trace.points)
        away = np.hypot(*(photo_px[:, None] - line[None]).transpose(2, 0, 1)).min(axis=1)
        left += _pieces(trace, away > stroke.width_px / 2)
    return tuple(left)


def _within(traces: tuple[Trace, ...], plane: WallPlane, outline_px: Points) -> tuple[Trace, ...]:
    corners = outline_px.astype(np.float32).reshape(-1, 1, 2)
    left: list[Trace] = []
    for trace in traces:
        photo_px = plane.to_photo_px(trace.points)
        inside = [cv2.pointPolygonTest(corners, (float(x), float(y)), False) >= 0 for x, y in photo_px]
        left += _pieces(trace, np.array(inside))
    return tuple(left)


def _pieces(trace: Trace, keep: np.ndarray) -> list[Trace]:
    """The stretches of a trace that are kept; the first has its name."""
    if keep.all():
        return [trace]
    edges = np.flatnonzero(np.diff(np.concatenate([[0], keep.astype(int), [0]])))
    spans = [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a >= LEAST_POINTS]
    return [
        replace(
            trace,
            id=trace.id if number == 0 else f"{trace.id}.{number + 1}",
            points=trace.points[a:b],
            width_in=trace.width_in[a:b],
            inferred=trace.inferred[a:b],
        )
        for number, (a, b) in enumerate(spans)
    ]


def _length(points: Points) -> float:
    return float(np.hypot(*np.diff(points, axis=0).T).sum())

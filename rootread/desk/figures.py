"""What the page shows of one wall, as plain values."""

import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from rootread.desk.looks import looks
from rootread.desk.stages import Reading
from rootread.fieldsheet import without_doubtful_tool
from rootread.judge.advice import CAUTIONS, advise
from rootread.judge.marked import marked_depth_in
from rootread.judge.types import Layer
from rootread.measure.types import Interval, RootReading
from rootread.plane import WallPlane
from rootread.report.colours import STEEPEST_DEG, verdict_tone
from rootread.report.story import safety_of_pit
from rootread.report.words import recorded_words
from rootread.units import INCHES_PER, unit_shown

POINT_EVERY = 2
"""Of the points 0.05 in apart, every so many are shown."""
COLOUR_STEPS = 12
"""Steps of the descent scale from level to steep that the page draws."""
DEEPEST_RULE_IN = 120


def wall_values(reading: Reading) -> dict[str, Any]:
    """Figures, and everything drawn on the photo, in photo pixels."""
    plane, readings, grade = reading.plane, reading.readings, reading.grade
    row = without_doubtful_tool(reading.row, reading.seen.deepest_in, plane.surface.se_in)
    return {
        "settled": reading.settled,
        "grade": _interval(grade.score, 3),
        "verdict": grade.verdict,
        "tone": verdict_tone(grade.verdict),
        "parts": [
            {"name": part.name, "score": number(part.score, 3), "weight": part.weight, "reason": part.reason}
            for part in grade.parts
        ],
        "figures": {
            "roots": len(readings.roots),
            "root_length_in": _interval(readings.intervals.root_length_in, 3),
            "descent_deg": _interval(readings.descent, 3),
            "tortuosity": _interval(readings.intervals.tortuosity, 5),
            "flattened_share": _interval(readings.intervals.flattened_share, 5),
            "sideways_in": _interval(readings.intervals.sideways_in, 3),
        },
        "scale": {
            "kind": plane.scale.kind,
            "px_per_in": number(plane.scale.px_per_in, 4),
            "px_per_in_se": number(plane.scale.px_per_in_se, 5),
            "level": plane.level.source,
            "level_se_deg": number(plane.level.se_deg, 4),
            "tilt_deg": number(plane.tilt_deg, 3),
            "surface": plane.surface.source,
            "surface_se_in": number(plane.surface.se_in, 4),
            "points_px": _places(plane.scale.points_px) if plane.scale.kind == "points" else [],
            "outlines_px": [_places(outline) for outline in plane.scale.outlines_px],
        },
        "surface_px": _places(plane.to_photo_px(plane.surface.line_in)),
        "rule": _rule(plane, reading.seen.photo_size_px),
        "layers": [_layer(layer, reading) for layer in reading.layers],
        "layers_struck_in": [
            number(marked_depth_in(line_px, plane), 4) for line_px in reading.marks.layers_struck_px
        ],
        "roots": [_root(root, plane) for root in readings.roots],
        "cautions": list(reading.seen.cautions),
        "advice": [
            {"text": advice.text, "evidence": advice.evidence}
            for advice in advise(readings, reading.layers, grade, row)
        ],
        "advice_cautions": [*CAUTIONS, *safety_of_pit(reading.row)],
        "looks": [look.__dict__ for look in looks(reading)],
    }


def _root(root: RootReading, plane: WallPlane) -> dict[str, Any]:
    trace = root.trace
    keep = np.zeros(len(trace.points), dtype=bool)
    keep[::POINT_EVERY] = keep[-1] = True
    steepness = np.clip(root.descent_down_deg[keep] / STEEPEST_DEG, 0.0, 1.0)
    local_px_per_in = plane.scale.px_per_in
    return {
        "id": trace.id,
        "points_px": _places(plane.to_photo_px(trace.points[keep])),
        "steps": np.round(steepness * (COLOUR_STEPS - 1)).astype(int).tolist(),
        "flat": np.flatnonzero(root.flattened[keep]).tolist(),
        "unseen": np.flatnonzero(trace.inferred[keep]).tolist(),
        "width_px": round(root.width_in * local_px_per_in, 1),
        "width_in": number(root.width_in, 3),
        "length_in": number(root.length_in, 3),
        "descent_deg": number(root.descent_deg, 2),
        "tortuosity": number(root.tortuosity, 4),
        "confidence": number(trace.confidence, 2),
        "drawn": trace.id.startswith("m"),
    }


def _layer(layer: Layer, reading: Reading) -> dict[str, Any]:
    return {
        "depth_in": number(layer.depth_in, 4),
        "ends_in": [number(layer.line.line_in[end][1], 4) for end in (0, -1)],
        "depth_se_in": number(layer.depth_se_in, 4),
        "line_px": _places(reading.plane.to_photo_px(layer.line.line_in)),
        "reached": layer.reached,
        "crossed": layer.crossed,
        "turned": layer.turned,
        "stopped": layer.stopped,
        "recorded": recorded_words(layer, reading.row),
        "mark": _mark_of(layer, reading),
    }


def _mark_of(layer: Layer, reading: Reading) -> int | None:
    """Which of the drawn layers it is; None where it was found."""
    drawn = [marked_depth_in(mark.line_px, reading.plane) for mark in reading.marks.layers]
    return next((k for k, depth_in in enumerate(drawn) if depth_in == layer.depth_in), None)


def _rule(plane: WallPlane, size_px: tuple[int, int]) -> list[dict[str, Any]]:
    """The level line of every inch or centimetre of depth, across the photo in its pixels."""
    columns, rows = size_px
    corners = plane.to_wall_in([[0, 0], [columns - 1, 0], [columns - 1, rows - 1], [0, rows - 1]])
    (x_from, _), (x_to, z_to) = corners.min(axis=0), corners.max(axis=0)
    x = np.linspace(x_from, x_to, 9)
    step_in = INCHES_PER[unit_shown()]
    depths_in = step_in * np.arange(int(min(z_to, DEEPEST_RULE_IN) / step_in) + 1)
    return [
        {
            "depth_in": depth_in,
            "line_px": _places(plane.to_photo_px(np.column_stack([x, np.full_like(x, depth_in)]))),
        }
        for depth_in in depths_in.tolist()
    ]


def _interval(interval: Interval, digits: int) -> dict[str, float | None]:
    return {
        "value": number(interval.value, digits),
        "low": number(interval.low, digits),
        "high": number(interval.high, digits),
    }


def number(value: float, digits: int) -> float | None:
    """Rounded; None where there is no figure, which JSON cannot say otherwise.

    The page rounds again to what it shows, so ``digits`` is two more than that: 7.053 in by way of 7.05
    would be shown as 7.0, where the report says 7.1.
    """
    return round(float(value), digits) if math.isfinite(value) else None


def _places(points_px: ArrayLike) -> list[list[float]]:
    return np.round(np.asarray(points_px, dtype=float), 1).reshape(-1, 2).tolist()

"""The tables of a run, by the columns of ``rootread.schema``.

Rows hold full precision; ``table_csv`` rounds by the column's unit and makes
text safe to open in a spreadsheet.
"""

import csv
import io
import math
from collections.abc import Iterable

import numpy as np

from rootread.measure.types import RootReading
from rootread.report.story import cautions
from rootread.schema import TABLES, Column, Row, decimals
from rootread.wall import RefusedWall, Wall

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""A spreadsheet takes a cell that starts so for a formula and runs it; some take the wide signs too."""

FROM_THE_SHEET = ("pit", "treatment", "date", "crop", "stage")
"""Columns of ``walls.csv`` that are cells of the field sheet, as they were written."""


def rows_of(wall: Wall | RefusedWall) -> dict[str, list[Row]]:
    """The rows of one wall in every table, by the table's name."""
    rows = {
        "walls": [wall_row(wall)],
        "roots": root_rows(wall),
        "runs": run_rows(wall),
        "layers": layer_rows(wall),
        "flattened": flattened_rows(wall),
    }
    return {name: [_in_order(row, TABLES[name]) for row in rows[name]] for name in TABLES}


def wall_row(wall: Wall | RefusedWall) -> Row:
    """The row of ``walls.csv``; a refused wall has a reason and no figures."""
    row: Row = {"wall": wall.name} | {name: getattr(wall.row, name) for name in FROM_THE_SHEET}
    if isinstance(wall, RefusedWall):
        reason = f"{wall.reason} {wall.remedy}".strip()
        return row | {"photo": wall.photo_name, "status": "refused", "reason": reason}
    scale, readings, score = wall.plane.scale, wall.readings, wall.grade.score
    ran_at_a_layer = any(layer.sideways_in > 0 for layer in wall.layers)
    return row | {
        "photo": wall.photo.path.name if wall.photo.path else wall.row.photo,
        "status": "read",
        "reason": " ".join(cautions(wall)),
        "scale": scale.kind,
        "px_per_in": scale.px_per_in,
        "px_per_in_se": scale.px_per_in_se,
        "tilt_deg": wall.plane.tilt_deg,
        "roots": len(readings.roots),
        "root_length_in": readings.root_length_in,
        "descent_deg": readings.descent.value,
        "descent_low": readings.descent.low,
        "descent_high": readings.descent.high,
        "shallow_share": readings.shallow_share,
        "in_pattern_share": readings.in_pattern_share,
        "steep_share": readings.steep_share,
        "tortuosity": readings.tortuosity,
        "flattened_share": readings.flattened_share,
        "flattened_in_cracks": readings.flattened_in_cracks,
        "passage": _passage(wall),
        "sideways_in": readings.sideways_in,
        "sideways_flag": "yes" if ran_at_a_layer else "no",
        "grade": score.value,
        "grade_low": score.low,
        "grade_high": score.high,
        "verdict": wall.grade.verdict,
        "seconds": wall.seconds,
    }


def _passage(wall: Wall) -> float | None:
    """The part of the grade that counts passage, as a share."""
    return next((part.score / 100 for part in wall.grade.parts if part.name == "passage"), None)


def root_rows(wall: Wall | RefusedWall) -> list[Row]:
    """The rows of ``roots.csv``."""
    if isinstance(wall, RefusedWall):
        return []
    return [_root_row(wall.name, root) for root in wall.readings.roots]


def run_rows(wall: Wall | RefusedWall) -> list[Row]:
    """The rows of ``runs.csv``."""
    if isinstance(wall, RefusedWall):
        return []
    return [
        {
            "wall": wall.name,
            "root": run.root,
            "depth_in": run.depth_in,
            "x_from_in": run.x_from_in,
            "x_to_in": run.x_to_in,
            "length_in": run.length_in,
        }
        for root in wall.readings.roots
        for run in root.runs
    ]


def layer_rows(wall: Wall | RefusedWall) -> list[Row]:
    """The rows of ``layers.csv``."""
    if isinstance(wall, RefusedWall):
        return []
    return [
        {
            "wall": wall.name,
            "depth_in": layer.depth_in,
            "depth_se_in": layer.depth_se_in,
            "x_from_in": layer.x_from_in,
            "x_to_in": layer.x_to_in,
            "reached": layer.reached,
            "crossed": layer.crossed,
            "turned": layer.turned,
            "stopped": layer.stopped,
            "sideways_in": layer.sideways_in,
            "p_value": layer.p_value,
            "recorded": layer.recorded or "unrecorded",
            "shape": layer.line.shape,
            "left_depth_in": layer.line.line_in[0][1],
            "right_depth_in": layer.line.line_in[-1][1],
            "passage": layer.passage,
            "passage_low": layer.passage_interval.low,
            "passage_high": layer.passage_interval.high,
        }
        for layer in wall.layers
    ]


def flattened_rows(wall: Wall | RefusedWall) -> list[Row]:
    """The rows of ``flattened.csv``."""
    if isinstance(wall, RefusedWall):
        return []
    return [
        {
            "wall": wall.name,
            "root": flat.root,
            "depth_in": flat.depth_in,
            "x_in": flat.x_in,
            "length_in": flat.length_in,
            "in_crack": "yes" if flat.crack else "no",
            "crack_known_by": flat.crack,
        }
        for flat in wall.readings.flats
    ]


def table_csv(name: str, rows: Iterable[Row]) -> str:
    """A table as CSV text; without rows it is the header alone."""
    return csv_head(name) + csv_rows(name, rows)


def csv_head(name: str) -> str:
    """The first line of a table's CSV text."""
    return _csv([[column.name for column in TABLES[name]]])


def csv_rows(name: str, rows: Iterable[Row]) -> str:
    """The other lines, or some of them."""
    return _csv([_cell(row[column.name], column) for column in TABLES[name]] for row in rows)


def _csv(lines: Iterable[Iterable[str]]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(lines)
    return text.getvalue()


def _root_row(wall_name: str, root: RootReading) -> Row:
    trace = root.trace
    (base_x, base_z), (tip_x, tip_z) = trace.points[0].tolist(), trace.points[-1].tolist()
    return {
        "wall": wall_name,
        "root": trace.id,
        "order": trace.order,
        "parent": trace.parent or "",
        "base_x_in": base_x,
        "base_z_in": base_z,
        "tip_x_in": tip_x,
        "tip_z_in": tip_z,
        "length_in": root.length_in,
        "chord_in": root.chord_in,
        "tortuosity": root.tortuosity,
        "descent_deg": root.descent_deg,
        "chord_descent_deg": root.chord_descent_deg,
        "width_in": root.width_in,
        "flattened_share": root.flattened_share,
        "sideways_in": root.sideways_in,
        "confidence": trace.confidence,
        "width_se_in": trace.width_se_in,
        "cut": "yes" if trace.cut else "no",
    }


def _in_order(row: Row, columns: tuple[Column, ...]) -> Row:
    """All columns in the schema's order, plain Python values, None where there is no figure."""
    return {column.name: _plain(row.get(column.name), column) for column in columns}


def _plain(value: str | float | int | None, column: Column) -> str | float | int | None:
    if column.type is str:
        return str(value or "")
    if value is None or not np.isfinite(float(value)):
        return None
    return int(value) if column.type is int else float(value)


def _cell(value: str | float | int | None, column: Column) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return str(spreadsheet_safe(value))
    if column.type is int:
        return str(int(value))
    rounded = round(float(value), decimals(column))
    # -0.0 and 0.0 are one number and get one spelling.
    return f"{rounded + 0.0:.10g}" if math.isfinite(rounded) else ""


def spreadsheet_safe(cell: object) -> object:
    """Text that a spreadsheet would run as a formula, marked as text; anything else as it is."""
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(FORMULA_STARTS) else cell

"""The sheet as text cells, as a person edits it at the desk."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from rootread.errors import BadRequest
from rootread.fieldsheet import COLUMNS
from rootread.fieldsheet.cells import is_blank
from rootread.fieldsheet.names import plain
from rootread.text import one_line

Value = TypeVar("Value")

MOST_ROWS = 5000
LONGEST_CELL = 2000
SHOWN_CELL = 60
"""Letters of a cell that are said."""


@dataclass(frozen=True)
class Sheet:
    """Columns and rows of text."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def sheet_of(value: Any) -> Sheet:
    """A sheet from JSON values.

    Raises
    ------
    BadRequest : not a table of texts, or larger than any folder needs.
    """
    wrong = BadRequest("The sheet is not a table of texts.", "Load the page again.")
    if not isinstance(value, dict):
        raise wrong
    columns, rows = value.get("columns"), value.get("rows")
    if not _texts(columns) or not isinstance(rows, list) or not all(_texts(row) for row in rows):
        raise wrong
    assert columns is not None
    if len(rows) > MOST_ROWS or any(len(cell) > LONGEST_CELL for row in rows for cell in row):
        raise BadRequest("The sheet is too large.", f"Keep to {MOST_ROWS} rows and short cells.")
    if any(name not in COLUMNS for name in columns) or any(len(row) != len(columns) for row in rows):
        raise wrong
    return Sheet(tuple(columns), tuple(tuple(row) for row in rows))


def cell_faults(sheet: Sheet) -> list[dict[str, Any]]:
    """Every cell that cannot be understood, with what is wrong and what to write."""
    faults = []
    seen: dict[tuple[str, str], str] = {}
    for number, row in enumerate(sheet.rows):
        photo = dict(zip(sheet.columns, row, strict=True)).get("photo", "").strip() or "Another row"
        for column, cell in zip(sheet.columns, row, strict=True):
            cell = cell.strip()
            fault = _fault(column, cell) if cell else (column == "photo" and any(row)) and "Name the photo."
            key = (column, plain(cell))
            if cell and column in ("photo", "wall") and not fault:
                if key in seen:
                    # Rows go by their photos on the page; they have no numbers there.
                    fault = f"{seen[key] if column != 'photo' else 'Another row'} has the same {column}."
                seen.setdefault(key, photo)
            if fault:
                faults.append({"row": number, "column": column, "says": fault})
    return faults


def _fault(column: str, cell: str) -> str:
    if len(cell) > LONGEST_CELL:
        return f"That is longer than {LONGEST_CELL} letters."
    if is_blank(column, cell):
        return ""
    try:
        COLUMNS[column](cell)
    except BadRequest as error:
        return f"{error.cause} {error.remedy}".strip()
    return ""


def _texts(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(cell, str) for cell in value)


def with_rows(
    own: Sheet, columns: Sequence[str], records: Sequence[Sequence[str]], placed: Mapping[str, str]
) -> tuple[Sheet, list[str]]:
    """A sheet with the rows of another taken in, and in words what could not be.

    A cell is taken where the sheet has none and where it can be understood; a
    row whose photo is not here is kept for when it comes.

    Parameters
    ----------
    columns, records : of the other sheet; its second row is row 2, as a spreadsheet counts.
    placed : names of photos as the other sheet knows them, and the names they have here.
    """
    shown = [name for name in COLUMNS if name in own.columns or name in columns]
    rows = [dict(zip(own.columns, row, strict=True)) for row in own.rows]
    row_of = _by_photo((row["photo"], row) for row in rows)
    here = _by_photo(placed.items())
    says: list[str] = []
    for number, record in enumerate(records, start=2):
        cells = {column: cell.strip() for column, cell in zip(columns, record, strict=False) if cell.strip()}
        given = cells.pop("photo", "")
        stray = [cell.strip() for cell in record[len(columns) :] if cell.strip()]
        stray += [cells.pop("")] if "" in cells else []
        says += [f"Row {number} has {one_line(cell, SHOWN_CELL)!r} under no column." for cell in stray]
        if not given:
            says += [f"Row {number} names no photo and is left out."] if cells else []
            continue
        photo = here.get(plain(given), given)
        row = row_of.get(plain(photo)) or row_of.get(plain(Path(photo).stem))
        if row is None:
            row = {"photo": photo}
            rows.append(row)
            row_of |= _by_photo([(photo, row)])
        says += [f"Row {number}, {column}: {fault}" for column, fault in _filled(row, cells)]
    if len(rows) > MOST_ROWS:
        raise BadRequest("The sheet is too large.", f"Keep to {MOST_ROWS} rows.")
    merged = Sheet(tuple(shown), tuple(tuple(row.get(name, "") for name in shown) for row in rows))
    return _with_walls_apart(merged, says), says


def _by_photo(pairs: Iterable[tuple[str, Value]]) -> dict[str, Value]:
    """What belongs to each photo, by its file's name and by that without its ending."""
    found: dict[str, Value] = {}
    for name, value in pairs:
        found[plain(name)] = value
        found.setdefault(plain(Path(name).stem), value)
    return found


def _filled(row: dict[str, str], cells: Mapping[str, str]) -> list[tuple[str, str]]:
    """Put cells into the blank ones of a row; columns whose cell was not taken, and why."""
    faults = []
    for column, cell in cells.items():
        fault, own = _fault(column, cell), row.get(column, "").strip()
        if fault:
            faults.append((column, f"{fault} It is left blank."))
        elif own and own != cell:
            words = f"{one_line(cell, SHOWN_CELL)!r} is not taken, {one_line(own, SHOWN_CELL)!r} stays."
            faults.append((column, words))
        else:
            row[column] = cell
    return faults


def _with_walls_apart(sheet: Sheet, says: list[str]) -> Sheet:
    """The sheet without names of walls that another row has already."""
    rows = [list(row) for row in sheet.rows]
    for fault in cell_faults(sheet):
        if fault["column"] == "wall":
            at = sheet.columns.index("wall")
            says.append(f"Wall {rows[fault['row']][at]!r}: {fault['says']} Its name is left blank.")
            rows[fault["row"]][at] = ""
    return Sheet(sheet.columns, tuple(tuple(row) for row in rows))

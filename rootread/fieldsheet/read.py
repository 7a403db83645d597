"""From ``sheet.csv`` to rows.

Rows are counted as the spreadsheet counts them: the header is row 1.
"""

import csv
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from rootread import infile
from rootread.errors import BadRequest, BadSheet
from rootread.fieldsheet.cells import COLUMNS, is_blank
from rootread.fieldsheet.names import column_name, nearest_column, plain
from rootread.fieldsheet.types import SheetRow, default_row

LARGEST_MB = 20.0
MOST_TOLD = 20
"""Faults of one sheet that are told one by one; of more most have one cause."""
IN_QUOTES = "Put a cell in quotes that itself holds the comma or semicolon between the columns."


def read_sheet(path: Path, name: str = "") -> tuple[SheetRow, ...]:
    """The rows of a field sheet.

    Comma, semicolon or tab separated; UTF-8 with or without byte order mark,
    UTF-16 with one, or Windows-1252.

    Parameters
    ----------
    path : the file.
    name : what errors call it, such as ``pit 3/sheet.csv`` among the sheets of several folders; the file's
        own name when left out.

    Raises
    ------
    BadSheet : with the row and column of each cell that cannot be understood.
    """
    name = name or path.name
    columns, records = sheet_cells(path, name)
    rows: list[SheetRow] = []
    faults: list[BadSheet] = []
    for number, record in enumerate(records, start=2):
        if any(cell.strip() for cell in record):
            values, wrong = _cells(record, columns, number, name)
            faults += wrong
            rows += [] if wrong else [SheetRow(**values, row=number)]
    _refuse(faults, name)
    _check_unique(rows, name)
    return tuple(rows)


def sheet_cells(path: Path, name: str = "") -> tuple[list[str], list[list[str]]]:
    """The columns of a field sheet, "" for a nameless one, and its cells as they are written.

    Raises
    ------
    BadSheet : no table, or a column that no sheet has; calls the sheet by ``name`` as ``read_sheet`` does.
    """
    name = name or path.name
    records = csv_records(path, name)
    if not records or not any(cell.strip() for cell in records[0]):
        raise BadSheet(f"{name}: the sheet is empty.", "Its first row names the columns, photo first.")
    return _columns(records[0], name), records[1:]


def _refuse(faults: Sequence[BadSheet], name: str) -> None:
    """Raise all faults of a sheet as one error, if there are any."""
    if not faults:
        return
    first, *others = faults[:MOST_TOLD]
    left = len(faults) - MOST_TOLD
    more = [BadSheet(f"{name}: {left} more such faults.", "Mend these first.")] if left > 0 else []
    raise BadSheet(first.cause, first.remedy, [*others, *more])


def csv_records(path: Path, name: str) -> list[list[str]]:
    """Rows of cells, header first, of a table saved by a spreadsheet; errors call it by ``name``."""
    try:
        data = infile.content(path, LARGEST_MB)
    except OSError as error:
        raise BadSheet(
            f"{name}: cannot be opened ({error.strerror}).", infile.remedy(error, "Save it as CSV again.")
        ) from error
    text = _text(data, name)
    header = text.lstrip("\r\n").split("\n", 1)[0]
    separator = max(",;\t", key=header.count)
    try:
        return list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
    except csv.Error as error:
        raise BadSheet(f"{name}: not a table ({error}).", "Save it as CSV from the spreadsheet.") from error


def _text(data: bytes, name: str) -> str:
    """UTF-16 only with its mark; UTF-8 if it is valid; else what a spreadsheet on Windows writes."""
    encodings = ("utf-16",) if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252")
    for encoding in encodings:
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise BadSheet(f"{name}: not text that can be read.", "Save it as CSV in UTF-8.")


def _columns(header: list[str], name: str) -> list[str]:
    """The column name at each place, "" for a nameless one."""
    columns: list[str] = []
    faults = []
    for place, cell in enumerate(header, start=1):
        column = column_name(cell)
        if column and column not in COLUMNS:
            fault = BadSheet(
                f"{name}: column {place}, {cell.strip()!r}, is not a column of the sheet.",
                nearest_column(column, COLUMNS),
            )
            faults.append(fault)
        elif column and columns.count(column) == 1:
            faults.append(BadSheet(f"{name}: there are two columns {column}.", "Keep one."))
        columns.append(column)
    if "photo" not in columns:
        fault = BadSheet(
            f"{name}: there is no column photo.", "Its first row names the columns, photo first."
        )
        faults.append(fault)
    _refuse(faults, name)
    return columns


def _cells(
    record: list[str], columns: list[str], number: int, name: str
) -> tuple[dict[str, Any], list[BadSheet]]:
    """What the cells of a row say, and what is wrong with those that cannot be understood."""
    values: dict[str, Any] = {}
    faults = []
    for place, cell in enumerate(record):
        cell = cell.strip()
        if not cell:
            continue
        column = columns[place] if place < len(columns) else ""
        if not column:
            faults.append(BadSheet(f"{name}: row {number} has {cell!r} under no column.", IN_QUOTES))
            break
        if is_blank(column, cell):
            continue
        try:
            value = COLUMNS[column](cell)
        except BadRequest as error:
            # Of a row with a cell too many, the first that makes no sense is most likely half of another.
            overfull = f"The row has more cells than there are columns. {IN_QUOTES}"
            remedy = overfull if len(record) > len(columns) else error.remedy
            faults.append(BadSheet(f"{name}: row {number}, {column}: {error.cause}", remedy))
            continue
        values.update(value if column == "scale" else {column: value})
    if "photo" in values:
        values.setdefault("wall", default_row(values["photo"]).wall)
    elif columns.index("photo") >= len(record) or not record[columns.index("photo")].strip():
        blank = f"{name}: row {number}, photo: it is blank."
        faults.append(BadSheet(blank, "Write the file name of the photo."))
    return values, faults


def _check_unique(rows: Sequence[SheetRow], name: str) -> None:
    for column in ("photo", "wall"):
        seen: dict[str, int | None] = {}
        for row in rows:
            value = getattr(row, column)
            if plain(value) in seen:
                raise BadSheet(
                    f"{name}: rows {seen[plain(value)]} and {row.row} have the same {column}, {value}.",
                    "Each photo has one row, and each wall its own name.",
                )
            seen[plain(value)] = row.row

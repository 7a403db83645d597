"""Cone penetrometer readings that lie beside the photos: ``cone.csv``.

Columns ``x_in, depth_in, psi`` and, where a folder holds more than one wall,
``wall``. x is from the scale object's centre, left negative; depth is below the
soil surface there; lengths and pressures may carry a unit. Cone and speed are those of the
standards (30 degree cone, pushed at 72 in/min: ASABE S313.3 and EP542; from
memory).
"""

from collections.abc import Iterator, Sequence
from pathlib import Path

from rootread.errors import BadRequest, BadSheet
from rootread.fieldsheet.cells import of_a_wall
from rootread.fieldsheet.names import column_name, nearest, nearest_column, plain
from rootread.fieldsheet.pressure import pressure_psi
from rootread.fieldsheet.read import csv_records
from rootread.fieldsheet.types import ConeReading
from rootread.text import one_line

CONE_NAME = "cone.csv"
COLUMNS = ("wall", "x_in", "depth_in", "psi")
MOST_TOLD = 5
"""Of walls that are not there, each said in a line."""
LONGEST_SHOWN = 80


def _read_cone(path: Path, name: str = "") -> dict[str, tuple[ConeReading, ...]]:
    """Readings by wall, in the order of the file; "" for those that name no wall.

    ``name`` is what errors call the file, its own name when left out.

    Raises
    ------
    BadSheet : with the row and column of the cell that cannot be understood.
    """
    file = name or path.name
    found: dict[str, list[ConeReading]] = {}
    for number, cells in _rows(path, file):
        reading = ConeReading(
            *(_number(cells.get(column, ""), column, number, file) for column in COLUMNS[1:])
        )
        found.setdefault(plain(cells.get("wall", "")), []).append(reading)
    return {wall: tuple(readings) for wall, readings in found.items()}


def _place_and_depth(reading: ConeReading) -> tuple[float, float]:
    return reading.x_in, reading.depth_in


def _rows(path: Path, file: str) -> Iterator[tuple[int, dict[str, str]]]:
    """Each row that is filled in, with its number in the spreadsheet."""
    records = csv_records(path, file)
    header = [column_name(cell) for cell in records[0]] if records else []
    _check_header(header, file)
    for number, record in enumerate(records[1:], start=2):
        if any(cell.strip() for cell in record):
            yield number, dict(zip(header, (cell.strip() for cell in record), strict=False))


def told_of_strangers(path: Path, walls: Sequence[str], name: str = "") -> list[str]:
    """Readings of walls that are not beside the file, in words: they are not used.

    Parameters
    ----------
    walls : names of those that are.
    name : what the words call the file, its own name when left out.
    """
    file, here = name or path.name, {plain(wall) for wall in walls}
    first: dict[str, tuple[int, str]] = {}
    for number, cells in _rows(path, file):
        wall = cells.get("wall", "")
        first.setdefault(plain(wall), (number, wall))
    # A wall that has readings of its own is not meant by those of another name.
    unprobed = [wall for wall in walls if plain(wall) not in first]
    strange = [(number, wall) for key, (number, wall) in first.items() if wall and key not in here]
    told = [
        f"{file}: row {number}: there is no wall {one_line(wall, LONGEST_SHOWN)} in the folder. "
        f"{nearest(wall, unprobed)}".strip()
        for number, wall in strange[:MOST_TOLD]
    ]
    more = len(strange) - len(told)
    are = "wall is" if more == 1 else "walls are"
    return [*told, f"{file}: {more} more {are} not in the folder."] if more else told


def _check_header(header: Sequence[str], file: str) -> None:
    for column in header:
        if column and column not in COLUMNS:
            raise BadSheet(
                f"{file}: {column!r} is not a column of cone readings.",
                nearest_column(column, COLUMNS),
            )
    missing = [name for name in COLUMNS[1:] if name not in header]
    if missing:
        raise BadSheet(f"{file}: there is no column {missing[0]}.", "Its columns are x_in, depth_in and psi.")


def _number(cell: str, column: str, row: int, file: str) -> float:
    """Inches of a place or a depth, psi of a pressure."""
    where = f"{file}: row {row}, {column}:"
    if not cell:
        raise BadSheet(f"{where} nothing is written.", "Write place, depth and pressure in every row.")
    try:
        value = pressure_psi(cell) if column == "psi" else of_a_wall(cell)
    except BadRequest as error:
        raise BadSheet(f"{where} {error.cause}", error.remedy) from error
    if column == "depth_in" and value < 0:
        raise BadSheet(f"{where} {cell!r} is above the surface.", "Write depths as positive numbers.")
    return value


def cone_of(path: Path, wall: str, alone: bool, name: str = "") -> tuple[ConeReading, ...]:
    """The readings of one wall from a file beside its photo, in the order of places and depths.

    Parameters
    ----------
    alone : whether it is the only wall beside the file, so that readings without a name are its own.
    name : what errors call the file, its own name when left out.

    Raises
    ------
    BadSheet : with the row and column of the cell that cannot be understood, or readings that name no wall
        lie beside several.
    """
    by_wall = _read_cone(path, name)
    if "" in by_wall and not alone:
        raise BadSheet(
            f"{name or path.name}: readings that name no wall, beside photos of several walls.",
            "Add a column wall with the wall's name in each row.",
        )
    own = by_wall.get(plain(wall), ()) + by_wall.get("", ())
    return tuple(sorted(own, key=_place_and_depth))

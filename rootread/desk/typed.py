"""Lengths that a person types into the sheet at the desk, in the unit that its pages are shown in.

In the file a bare number is inches, always. At a desk that shows centimetres a
cell's bare number is shown as centimetres, and one that is typed is written
with ``cm`` after it; a cell that is left as it is shown stays as it was
written. With inches both ways leave every cell alone.
"""

import re
from collections.abc import Callable, Iterator
from contextlib import suppress

from rootread.desk.cells import Sheet
from rootread.errors import BadRequest
from rootread.fieldsheet.names import plain
from rootread.units import REMEDY, length_in, shown, unit_shown

BETWEEN = {
    "scale": r"(:)",
    "layers": r"(;)",
    "tool_depth_in": r"(;)",
    "shank_spacing_in": r"(;)",
    "shanks_at_in": r"(;)",
    "pit_depth_in": r"(;)",
    "standoff_in": r"(;)",
    "calipers": r"(;|/| at )",
}
"""Columns with lengths, and what stands between the lengths of one cell."""
DIGITS = 2
"""Of a shown length that was written in another unit: a tenth of a millimetre."""
_UNIT = re.compile(r"[^\W\d_]|[\"”″'’′]")
NAMES = {"in": "inches", "cm": "centimetres"}


def as_shown(sheet: Sheet) -> Sheet:
    """The sheet with its bare numbers in the unit shown."""
    if unit_shown() == "in":
        return sheet
    return _with_lengths(sheet, lambda bare: f"{round(shown(length_in(bare)), DIGITS):g} {unit_shown()}")


def as_written(typed: Sheet, own: Sheet) -> Sheet:
    """The sheet as it goes into the file.

    Parameters
    ----------
    typed : cells as they stand on the page.
    own : those of the file, which the page showed ``as_shown``.
    """
    if unit_shown() == "in":
        return typed
    named = _with_lengths(typed, lambda bare: f"{bare} {unit_shown()}")
    left = {place: cell for place, cell in _cells(as_shown(own)) if cell}
    before = dict(_cells(own))
    cells = iter(
        before[place] if left.get(place) == cell else new
        for (place, cell), (_, new) in zip(_cells(typed), _cells(named), strict=True)
    )
    return Sheet(typed.columns, tuple(tuple(next(cells) for _ in row) for row in typed.rows))


def said_of_typed(fault: str) -> str:
    """What is wrong with a cell, where a bare number is in the unit shown."""
    return fault.replace(REMEDY, REMEDY.replace(NAMES["in"], NAMES[unit_shown()]))


def _cells(sheet: Sheet) -> Iterator[tuple[tuple[str, str], str]]:
    """Each cell with its photo and column, row by row."""
    for row in sheet.rows:
        photo = plain(dict(zip(sheet.columns, row, strict=True)).get("photo", ""))
        yield from (((photo, column), cell) for column, cell in zip(sheet.columns, row, strict=True))


def _with_lengths(sheet: Sheet, change: Callable[[str], str]) -> Sheet:
    def changed(column: str, cell: str) -> str:
        if column not in BETWEEN:
            return cell
        return "".join(_part_changed(part, change) for part in re.split(BETWEEN[column], cell))

    rows = (zip(sheet.columns, row, strict=True) for row in sheet.rows)
    return Sheet(sheet.columns, tuple(tuple(changed(*cell) for cell in row) for row in rows))


def _part_changed(part: str, change: Callable[[str], str]) -> str:
    """A name and a length, or a length, with the length changed where it has no unit."""
    for word in re.finditer(r"\S+", part):
        # The longest end that is a length, so that 13 1/2 is one.
        end = part[word.start() :].rstrip()
        with suppress(BadRequest):
            length_in(end)
            return part if _UNIT.search(end) else part[: word.start()] + change(end)
    return part

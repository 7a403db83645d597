"""Lengths that a person types into the sheet at the desk, in the unit that its pages are shown in.

In the file a bare number is inches, always. At a desk that shows centimetres a
cell's bare number is shown as centimetres, and one that is typed is written
with ``cm`` after it; what is left as it is shown, a cell or one of its parts,
stays as it was written. With inches both ways leave every cell alone.
"""

import re
from collections.abc import Callable, Iterator
from contextlib import suppress

from rootread.desk.cells import Sheet
from rootread.errors import BadRequest
from rootread.fieldsheet.cells import calipers_in_one_unit
from rootread.fieldsheet.names import plain
from rootread.units import REMEDY, length_in, shown, unit_name, unit_shown

BETWEEN = {
    "scale": r"(:)",
    "layers": r"(;)",
    "tool_depth_in": r"(;)",
    "shank_spacing_in": r"(;)",
    "shanks_at_in": r"(;)",
    "pit_depth_in": r"(;)",
    "standoff_in": r"(;)",
    "calipers": r"(;|/|[xX×]| at |@)",
}
"""Columns with lengths, and what stands between the lengths of one cell."""
DIGITS = 4
"""After the point, without zeros at the end, of a length shown in another unit: 0.125 in is 0.3175 cm."""
_UNIT = re.compile(r"[^\W\d_]|[\"”″'’′]")


def as_shown(sheet: Sheet) -> Sheet:
    """The sheet with its bare numbers in the unit shown."""
    if unit_shown() == "in":
        return sheet
    rows = (zip(sheet.columns, row, strict=True) for row in sheet.rows)
    return Sheet(sheet.columns, tuple(tuple(_cell_shown(*cell) for cell in row) for row in rows))


def as_written(typed: Sheet, own: Sheet) -> Sheet:
    """The sheet as it goes into the file.

    Parameters
    ----------
    typed : cells as they stand on the page.
    own : those of the file, which the page showed ``as_shown``.
    """
    if unit_shown() == "in":
        return typed
    before = dict(_cells(own))
    cells = (_cell_written(place[1], cell, before.get(place, "")) for place, cell in _cells(typed))
    return Sheet(typed.columns, tuple(tuple(next(cells) for _ in row) for row in typed.rows))


def said_of_typed(fault: str) -> str:
    """What is wrong with a cell, where a bare number is in the unit shown."""
    return fault.replace(REMEDY, REMEDY.replace("inches", unit_name(many=True)))


def _cells(sheet: Sheet) -> Iterator[tuple[tuple[str, str], str]]:
    """Each cell with its photo and column, row by row."""
    for row in sheet.rows:
        photo = plain(dict(zip(sheet.columns, row, strict=True)).get("photo", ""))
        yield from (((photo, column), cell) for column, cell in zip(sheet.columns, row, strict=True))


def _parts(column: str, cell: str) -> list[str]:
    """The lengths of a cell, each with its name, and what stands between them."""
    return re.split(BETWEEN[column], cell)


def _cell_shown(column: str, cell: str) -> str:
    return "".join(_part_shown(part) for part in _parts(column, cell)) if column in BETWEEN else cell


def _part_shown(part: str) -> str:
    return _part_changed(part, lambda bare: f"{round(shown(length_in(bare)), DIGITS):g} {unit_shown()}")


def _cell_written(column: str, typed: str, own: str) -> str:
    if column not in BETWEEN:
        return typed
    if typed == _cell_shown(column, own):
        return own
    if column == "calipers":
        # One unit stands for both sides of a root; a side that is left as it was in the file is in inches.
        return calipers_in_one_unit(_parts_written(column, calipers_in_one_unit(typed), own), "in")
    return _parts_written(column, typed, own)


def _parts_written(column: str, typed: str, own: str) -> str:
    # Name and length together: a length may read otherwise behind another name (A 1/2, A 2 1/2).
    left = {_part_shown(part).strip(): part.strip() for part in _parts(column, own) if part.strip()}
    return "".join(_part_written(part, left) for part in _parts(column, typed))


def _part_written(part: str, left: dict[str, str]) -> str:
    word = part.strip()
    if word in left:
        return part.replace(word, left[word])
    return _part_changed(part, lambda bare: f"{bare} {unit_shown()}")


def _part_changed(part: str, change: Callable[[str], str]) -> str:
    """A name and a length, or a length, with the length changed where it has no unit."""
    for word in re.finditer(r"\S+", part):
        # The longest end that is a length, so that 13 1/2 is one.
        end = part[word.start() :].rstrip()
        with suppress(BadRequest):
            length_in(end)
            return part if _UNIT.search(end) else part[: word.start()] + change(end)
    return part

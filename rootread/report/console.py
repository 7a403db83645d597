"""The walls of a run as a table for the command line."""

import textwrap
import unicodedata
from collections.abc import Sequence

from rootread.schema import Row
from rootread.units import INCHES_PER, LengthUnit

WIDTH = 100
GAP = "  "
NUMBERS_FROM = 3
"""Columns from this one on are set to the right."""
MOST_WALLS = 60
"""More than this scroll away; of more those to look at are shown."""


def walls_text(rows: Sequence[Row], units: LengthUnit = "in") -> str:
    """The rows of ``walls.csv`` as text no wider than 100 columns, refused walls with their reason.

    Of very many walls the flagged ones and those of the lowest grade are shown.
    """
    if not rows:
        return "No walls."
    every = [row for row in rows if row["status"] == "read"]
    refused = [row for row in rows if row["status"] != "read"]
    read = every if len(every) <= MOST_WALLS else sorted(every, key=_to_look_at)[:MOST_WALLS]
    cells = [
        (
            str(row["wall"]),
            str(row["treatment"]),
            str(row["verdict"]),
            _range(row, "grade", "grade_low", "grade_high"),
            _range(row, "descent_deg", "descent_low", "descent_high"),
            _whole(row["sideways_in"], INCHES_PER[units]) + (" *" if row["sideways_flag"] == "yes" else "  "),
            _whole(row["roots"], 1.0),
        )
        for row in read
    ]
    head = ("wall", "treatment", "verdict", "grade", "descent, deg", f"sideways, {units}", "roots")
    widths = _widths([head, *cells])
    lines = [_line(line, widths) for line in [head, *cells]] if read else []
    if any(row["sideways_flag"] == "yes" for row in read):
        lines.append("* roots ran sideways at a layer")
    if len(every) > len(read):
        lines.append(f"and {len(every) - len(read)} walls more, in walls.csv")
    lines += [line for row in refused[:MOST_WALLS] for line in _refused(row)]
    if len(refused) > MOST_WALLS:
        lines.append(f"and {len(refused) - MOST_WALLS} more that were not read, in walls.csv")
    return "\n".join(lines)


def _widths(lines: Sequence[Sequence[str]]) -> list[int]:
    """Width of each column; where the whole is too wide, the widest columns of text give way."""
    widths = [max(_cells(line[column]) for line in lines) for column in range(len(lines[0]))]
    while sum(widths) + len(GAP) * (len(widths) - 1) > WIDTH:
        widest = max(range(NUMBERS_FROM), key=lambda column: widths[column])
        widths[widest] -= 1
    return widths


def _line(cells: Sequence[str], widths: Sequence[int]) -> str:
    placed = []
    for column, (cell, width) in enumerate(zip(cells, widths, strict=True)):
        if _cells(cell) > width:
            while _cells(cell) >= width:
                cell = cell[:-1]
            cell += "…"
        blank = " " * (width - _cells(cell))
        placed.append(blank + cell if column >= NUMBERS_FROM else cell + blank)
    return GAP.join(placed).rstrip()


def _cells(text: str) -> int:
    """Cells of a terminal that a text takes: two for wide letters (Unicode Annex 11), none for accents."""
    wide = sum(unicodedata.east_asian_width(letter) in "WF" for letter in text)
    return len(text) + wide - sum(unicodedata.combining(letter) > 0 for letter in text)


def _range(row: Row, value: str, low: str, high: str) -> str:
    """``66 (63-70)``, of numbers that may be missing."""
    if row[value] is None or row[low] is None or row[high] is None:
        return "-"
    return f"{row[value]:.0f} ({row[low]:.0f}-{row[high]:.0f})"


def _whole(value: str | float | int | None, unit: float) -> str:
    return "-" if value is None else f"{float(value) / unit:.0f}"


def _to_look_at(row: Row) -> tuple[bool, float]:
    """Flagged walls first, then by grade."""
    return row["sideways_flag"] != "yes", 100.0 if row["grade"] is None else float(row["grade"])


def _refused(row: Row) -> list[str]:
    text = f"{row['wall']}: not read. {row['reason']}"
    return textwrap.wrap(text, WIDTH, subsequent_indent="    ")

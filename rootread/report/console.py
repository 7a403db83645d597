"""The walls of a run as a table for the command line."""

import textwrap
from collections.abc import Sequence

from rootread.schema import Row

WIDTH = 100
GAP = "  "
NUMBERS_FROM = 3
"""Columns from this one on are set to the right."""


def walls_text(rows: Sequence[Row]) -> str:
    """The rows of ``walls.csv`` as text no wider than 100 columns, refused walls with their reason."""
    if not rows:
        return "No walls."
    read = [row for row in rows if row["status"] == "read"]
    cells = [
        (
            str(row["wall"]),
            str(row["treatment"]),
            str(row["verdict"]),
            _range(row, "grade", "grade_low", "grade_high"),
            _range(row, "descent_deg", "descent_low", "descent_high"),
            _whole(row["sideways_in"]) + (" *" if row["sideways_flag"] == "yes" else "  "),
            _whole(row["roots"]),
        )
        for row in read
    ]
    head = ("wall", "treatment", "verdict", "grade", "descent, deg", "sideways, in", "roots")
    widths = _widths([head, *cells])
    lines = [_line(line, widths) for line in [head, *cells]] if read else []
    if any(row["sideways_flag"] == "yes" for row in read):
        lines.append("* roots ran sideways at a layer")
    for row in rows:
        if row["status"] != "read":
            lines += _refused(row)
    return "\n".join(lines)


def _widths(lines: Sequence[Sequence[str]]) -> list[int]:
    """Width of each column; where the whole is too wide, the widest columns of text give way."""
    widths = [max(len(line[column]) for line in lines) for column in range(len(lines[0]))]
    while sum(widths) + len(GAP) * (len(widths) - 1) > WIDTH:
        widest = max(range(NUMBERS_FROM), key=lambda column: widths[column])
        widths[widest] -= 1
    return widths


def _line(cells: Sequence[str], widths: Sequence[int]) -> str:
    placed = []
    for column, (cell, width) in enumerate(zip(cells, widths, strict=True)):
        cell = cell if len(cell) <= width else cell[: width - 1] + "…"
        placed.append(cell.rjust(width) if column >= NUMBERS_FROM else cell.ljust(width))
    return GAP.join(placed).rstrip()


def _range(row: Row, value: str, low: str, high: str) -> str:
    """``66 (63-70)``, of numbers that may be missing."""
    if row[value] is None or row[low] is None or row[high] is None:
        return "-"
    return f"{row[value]:.0f} ({row[low]:.0f}-{row[high]:.0f})"


def _whole(value: str | float | int | None) -> str:
    return "-" if value is None else f"{float(value):.0f}"


def _refused(row: Row) -> list[str]:
    text = f"{row['wall']}: not read. {row['reason']}"
    return textwrap.wrap(text, WIDTH, subsequent_indent="    ")

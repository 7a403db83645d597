"""Names of pits and treatments that were most likely meant to be one."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from rootread.fieldsheet.names import folded, listing
from rootread.fieldsheet.types import SheetRow
from rootread.text import one_line

NAMED: tuple[Literal["pit", "treatment"], ...] = ("pit", "treatment")
"""Columns whose cells are compared from row to row: walls of one name there belong together."""
REMEDY = "Write it the same way in every row of the sheet."
LONGEST_SHOWN = 60


@dataclass(frozen=True)
class Alike:
    """Names in one column that are the same but for the way they are written."""

    column: Literal["pit", "treatment"]
    names: tuple[str, ...]

    @property
    def words(self) -> str:
        """``Deep Pass and deep pass differ only in capitals, spaces or hyphens: one treatment?``."""
        shown = [one_line(name, LONGEST_SHOWN) for name in self.names]
        return f"{listing(shown)} differ only in capitals, spaces or hyphens: one {self.column}?"


def alike_names(rows: Sequence[SheetRow]) -> tuple[Alike, ...]:
    """Names that differ only in what a person does not mean to say by it; a misspelt word is another word."""
    return tuple(
        Alike(column, names)
        for column in NAMED
        for names in _written_ways(getattr(row, column) for row in rows)
        if len(names) > 1
    )


def _written_ways(names: Iterable[str]) -> Iterable[tuple[str, ...]]:
    """The ways in which each name is written."""
    ways: dict[str, dict[str, None]] = {}
    for name in names:
        if folded(name):
            ways.setdefault(folded(name), {})[name] = None
    return (tuple(written) for written in ways.values())

"""Result folders read back: the tables of one run, or of several together."""

import shlex
from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from rootread.errors import BadRequest
from rootread.photo import holds_photos
from rootread.report.tables import FORMULA_STARTS
from rootread.schema import TABLES

REMEDY = "Grade again into a fresh folder, and compare that."


def read_table(folders: Sequence[Path], name: str) -> pd.DataFrame:
    """One table of one or more result folders, rows in the folders' order.

    With several folders a column ``folder`` names the one a row is from.

    Raises
    ------
    BadRequest : a folder has no such table, or one that was changed by hand beyond reading.
    """
    tables = []
    for folder in folders:
        path = folder / f"{name}.csv"
        if not path.is_file():
            raise BadRequest(f"{path} is missing.", _remedy(folder))
        table = _table(path, name)
        if len(folders) > 1:
            table["folder"] = str(folder)
        tables.append(table)
    return pd.concat(tables, ignore_index=True)


def _remedy(folder: Path) -> str:
    """What to do where a folder holds no results: most often it is the one with the photos."""
    if not folder.exists():
        return "There is no such folder: name the one after the --out of rootread grade."
    if (folder / "records").is_dir():
        # Its tables are written last; its pictures must not be graded as if they were photos.
        return "That run did not come to its end: give the same rootread grade again."
    results = folder / "results"
    if (results / "walls.csv").is_file():
        return f"Results lie in {results}: name that folder."
    if not holds_photos(folder):
        return "It holds neither results nor photos: name the folder after the --out of rootread grade."
    photos, out = shlex.quote(str(folder)), shlex.quote(str(results))
    return f"Grade the photos in it, then name {results}: rootread grade {photos} --out {out}"


def _table(path: Path, name: str) -> pd.DataFrame:
    types = {column.name: str if column.type is str else float for column in TABLES[name]}
    blank = {column: [""] for column in _numbers(name)}
    try:
        with path.open("rb") as file:
            table = pd.read_csv(file, dtype=types, keep_default_na=False, na_values=blank)
        missing = [column for column in types if column not in table]
    except (OSError, ValueError) as error:  # pandas' own errors, and text that is none, are ValueErrors
        raise BadRequest(f"{path} is no table of rootread's ({error}).", REMEDY) from error
    if len(table) and not isinstance(table.index, pd.RangeIndex):
        # What stands before the first named column would be taken for names of the rows.
        raise BadRequest(f"{path} has rows with more cells than columns.", REMEDY)
    if missing:
        raise BadRequest(f"{path} has no column {missing[0]}.", REMEDY)
    for column in types:
        if types[column] is str:
            table[column] = table[column].map(_as_written)
    return table


def _numbers(name: str) -> list[str]:
    return [column.name for column in TABLES[name] if column.type is not str]


def _as_written(cell: str) -> str:
    """A cell without the mark that keeps spreadsheets from running it."""
    return cell[1:] if cell.startswith("'") and cell[1:].startswith(FORMULA_STARTS) else cell

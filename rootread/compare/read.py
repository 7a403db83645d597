"""Result folders read back: the tables of one run, or of several together."""

from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from rootread.errors import BadRequest
from rootread.report.tables import FORMULA_STARTS
from rootread.schema import TABLES


def read_table(folders: Sequence[Path], name: str) -> pd.DataFrame:
    """One table of one or more result folders, rows in the folders' order.

    With several folders a column ``folder`` names the one a row is from.

    Raises
    ------
    BadRequest : a folder has no such table.
    """
    tables = []
    for folder in folders:
        path = folder / f"{name}.csv"
        if not path.is_file():
            raise BadRequest(f"{path} is missing.", f"Grade into {folder} first: rootread grade ... --out")
        words = {column.name: str for column in TABLES[name] if column.type is str}
        table = pd.read_csv(
            path, dtype=words, keep_default_na=False, na_values={c: [""] for c in _numbers(name)}
        )
        for column in words:
            table[column] = table[column].map(_as_written)
        if len(folders) > 1:
            table["folder"] = str(folder)
        tables.append(table)
    return pd.concat(tables, ignore_index=True)


def _numbers(name: str) -> list[str]:
    return [column.name for column in TABLES[name] if column.type is not str]


def _as_written(cell: str) -> str:
    """A cell without the mark that keeps spreadsheets from running it."""
    return cell[1:] if cell.startswith("'") and cell[1:].startswith(FORMULA_STARTS) else cell

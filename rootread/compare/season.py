"""A season's result folders read together: every wall, root, run and layer in one go, as data frames."""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path

import pandas as pd

from rootread.compare.read import read_table
from rootread.report.parquet import write_frame
from rootread.report.tables import spreadsheet_safe
from rootread.schema import TABLES, Column, decimals
from rootread.store import place, writing
from rootread.units import INCHES_PER, LengthUnit

FOLDER = Column("folder", str, "", "folder of results that the row is from")


@dataclass(frozen=True)
class Season:
    """The tables of one or more result folders; columns as in ``rootread.schema``, and ``folder``."""

    walls: pd.DataFrame
    roots: pd.DataFrame
    runs: pd.DataFrame
    layers: pd.DataFrame
    flattened: pd.DataFrame
    units: LengthUnit = "in"


def read_season(folders: Sequence[str | Path], units: LengthUnit = "in") -> Season:
    """Read the tables of result folders together.

    Parameters
    ----------
    folders : that ``grade`` wrote, as paths or addresses. A wall is known by ``folder`` and ``wall``
        together: walls of two folders may share a name.
    units : of all lengths; a column's name says its unit, ``length_in`` or ``length_cm``.

    Raises
    ------
    BadRequest : a folder was not graded, or its tables were changed beyond reading.
    """
    found = list(dict.fromkeys(place(folder) for folder in folders))
    tables = {name: _table(found, name, units) for name in TABLES}
    return Season(**tables, units=units)


def write_season(season: Season, out: str | Path, parquet: bool = False) -> list[Path]:
    """Write the tables, each as one file, CSV or Parquet; returns where."""
    written = []
    for field in fields(season):
        if field.name not in TABLES:
            continue
        table: pd.DataFrame = getattr(season, field.name)
        path = place(out) / f"{field.name}.{'parquet' if parquet else 'csv'}"
        with writing(path) as file:
            if parquet:
                write_frame(file, table, season_columns(field.name, season.units))
            else:
                table.map(spreadsheet_safe).to_csv(
                    file, index=False, float_format="%.10g", lineterminator="\n"
                )
        written.append(path)
    return written


def season_columns(name: str, units: LengthUnit = "in") -> tuple[Column, ...]:
    """The columns of a table of a season."""
    return FOLDER, *(_in_units(column, units) for column in TABLES[name])


def _table(folders: Sequence[Path], name: str, units: LengthUnit) -> pd.DataFrame:
    tables = [read_table([folder], name).assign(folder=str(folder)) for folder in folders]
    table = pd.concat(tables, ignore_index=True)
    for column in TABLES[name]:
        if column.type is int:
            table[column.name] = table[column.name].astype("Int64")
        if units != "in" and column.unit in ("in", "px/in"):
            factor = 1 / INCHES_PER[units] if column.unit == "in" else INCHES_PER[units]
            table[column.name] = (table[column.name] * factor).round(decimals(_in_units(column, units)))
    table = table.rename(columns={column.name: _in_units(column, units).name for column in TABLES[name]})
    return table[[column.name for column in season_columns(name, units)]]


def _in_units(column: Column, units: LengthUnit) -> Column:
    if units == "in" or column.unit not in ("in", "px/in"):
        return column
    meaning = column.meaning.replace("inch", units).replace("_in", f"_{units}")
    # Some names go on after the unit: px_per_in_se.
    words = [units if word == "in" else word for word in column.name.split("_")]
    return replace(column, name="_".join(words), unit=column.unit.replace("in", units), meaning=meaning)

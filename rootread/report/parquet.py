"""The tables as Parquet, for programs: typed columns that carry their unit and meaning."""

from collections.abc import Iterable, Sequence
from typing import IO, TYPE_CHECKING, Any

from rootread.errors import BadRequest
from rootread.schema import Column, Row

if TYPE_CHECKING:
    import pandas as pd

ROWS_AT_ONCE = 20_000
"""Rows gathered before they are written: a group that later reads well, and never much in memory."""


class ParquetFile:
    """A Parquet file that grows by rows; to be closed."""

    def __init__(self, file: IO[bytes], columns: Sequence[Column]) -> None:
        arrow, parquet = _libraries()
        self._schema = _schema(arrow, columns)
        self._arrow, self._rows = arrow, list[Row]()
        self._writer = parquet.ParquetWriter(file, self._schema)

    def add(self, rows: Iterable[Row]) -> None:
        """Put rows after those that are there."""
        self._rows += rows
        if len(self._rows) >= ROWS_AT_ONCE:
            self._flush()

    def close(self) -> None:
        """Write what is left and the file's end."""
        self._flush()
        self._writer.close()

    def _flush(self) -> None:
        if self._rows:
            self._writer.write_table(self._arrow.Table.from_pylist(self._rows, self._schema))
            self._rows.clear()


def write_frame(file: IO[bytes], table: "pd.DataFrame", columns: Sequence[Column]) -> None:
    """A whole table that is a data frame already."""
    arrow, parquet = _libraries()
    parquet.write_table(arrow.Table.from_pandas(table, _schema(arrow, columns), preserve_index=False), file)


def _schema(arrow: Any, columns: Sequence[Column]) -> Any:
    kinds = {str: arrow.string(), int: arrow.int64(), float: arrow.float64()}
    return arrow.schema(
        [
            arrow.field(
                column.name,
                kinds[column.type],
                metadata={"unit": column.unit or "none", "meaning": column.meaning},
            )
            for column in columns
        ]
    )


def _libraries() -> tuple[Any, Any]:
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError as error:
        raise BadRequest(
            "Parquet needs pyarrow, which is not installed.", "Run: pip install 'rootread[parquet]'"
        ) from error
    return pyarrow, pyarrow.parquet

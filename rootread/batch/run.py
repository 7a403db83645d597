"""A run: read each wall that is missing or changed, write the tables and the report."""

import io
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, closing
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import overload

from rootread.batch.cluster import read_far
from rootread.batch.earlier import told_of_earlier
from rootread.batch.exports import remove_empty_folder
from rootread.batch.plan import Plan, WallJob
from rootread.batch.pool import Done, read_here
from rootread.batch.program import program
from rootread.batch.read import AGAIN, failed, read_elsewhere, read_job
from rootread.batch.record import Places, Record, read_rows, write_wall
from rootread.errors import BadRequest
from rootread.report import TABLES, csv_head, csv_rows, page_parts
from rootread.report.parquet import ParquetFile
from rootread.report.pdf import pdf_of
from rootread.schema import Row
from rootread.settings import Settings, settings_explained
from rootread.store import place, remove_parts, write_bytes, writing

Progress = Callable[[int, int, Record], None]
"""Called with how many walls are done, how many there are, and the wall just done."""

LOST = "Reading this photo ended the process that read it, most likely for want of memory."


@dataclass(frozen=True)
class Run:
    """A finished run."""

    out: Path
    records: tuple[Record, ...]
    messages: tuple[str, ...]
    earlier: str = ""
    """What to know of files in ``out`` that another run left; blank where there are none."""

    @property
    def refused(self) -> int:
        """How many walls could not be read."""
        return sum(record.wall["status"] != "read" for record in self.records)

    @property
    def report(self) -> Path:
        """The report's place."""
        return self.out / "report.html"


def grade_walls(
    plan: Plan,
    out: str | Path,
    settings: Settings | None = None,
    workers: int = 1,
    progress: Progress | None = None,
    cluster: str = "",
    parquet: bool = False,
    pdf: bool = False,
) -> Run:
    """Read the walls of a plan and write everything that comes out into ``out``.

    A wall is written as soon as it is read. A wall whose photo, sheet row,
    marks, settings and program are those of its record is not read again;
    where only settings of measuring, judging or showing changed, its roots
    are not sought again. Results do not depend on how many ``workers`` there
    are, nor where.

    Parameters
    ----------
    plan : from ``plan_walls``.
    out : a folder, or an address such as ``s3://bucket/results``.
    settings : defaults when left out.
    workers : how many processes read walls on this machine.
    progress : told of each wall that is done.
    cluster : address of a Dask scheduler, whose workers then read the walls.
    parquet : write the tables as Parquet too.
    pdf : write the report as PDF too.

    Raises
    ------
    BadRequest : ``out`` cannot be written, the cluster cannot be used, or what writes PDF or Parquet
        is not installed.
    """
    began = time.time()
    settings, folder = settings or Settings(), place(out)
    _check_writable(folder)
    _try_printing(settings, parquet, pdf)
    done: dict[int, Record] = {}
    for index, record in _read(plan.jobs, folder, settings, workers, cluster):
        done[index] = record
        if progress:
            progress(len(done), len(plan.jobs), record)
    records = tuple(done[index] for index in range(len(plan.jobs)))
    _write_tables(folder, plan.jobs, parquet)
    # Beside the tables, which say nothing of what they were made by.
    write_bytes(folder / "settings.toml", settings_explained(settings).encode("utf-8"))
    _write_report(folder, records, settings)
    if pdf:
        html = (folder / "report.html").read_text(encoding="utf-8")
        write_bytes(folder / "report.pdf", pdf_of(html, settings.report.units))
    remove_parts(folder, before=began)
    remove_empty_folder(folder)
    earlier = told_of_earlier(folder, [job.row.wall for job in plan.jobs])
    return Run(folder, records, plan.told, earlier)


def _read(
    jobs: Sequence[WallJob], out: Path, settings: Settings, workers: int, cluster: str
) -> Iterator[Done]:
    def give_up(job: WallJob) -> Record:
        return write_wall(failed(job, LOST), out, AGAIN, settings)

    if cluster:
        there = partial(read_elsewhere, out=out, settings=settings, asking=program())
        return read_far(there, jobs, cluster, give_up)
    return read_here(partial(read_job, out=out, settings=settings), jobs, workers, give_up)


def _write_tables(out: Path, jobs: Sequence[WallJob], parquet: bool) -> None:
    """The tables, a wall at a time: a thousand walls have a hundred thousand roots."""
    with ExitStack() as stack:
        files = {name: stack.enter_context(writing(out / f"{name}.csv")) for name in TABLES}
        for name, file in files.items():
            file.write(csv_head(name).encode("utf-8"))
        typed = {
            name: stack.enter_context(
                closing(ParquetFile(stack.enter_context(writing(out / f"{name}.parquet")), columns))
            )
            for name, columns in (TABLES.items() if parquet else ())
        }
        for job in jobs:
            rows = read_rows(out, job.row.wall)
            for name, file in files.items():
                file.write(csv_rows(name, rows[name]).encode("utf-8"))
            for name, table in typed.items():
                table.add(rows[name])


def _compared(walls: Sequence[Row]) -> list[str]:
    """What the grades say of the treatments."""
    if len({wall["treatment"] for wall in walls}) < 2:
        return []
    # Imported here: its tables take long to load, and a run of one treatment compares nothing.
    from rootread.compare import grade_words

    return grade_words(walls)


def _write_report(out: Path, records: Sequence[Record], settings: Settings) -> None:
    walls = [record.wall for record in records]
    parts = page_parts(
        walls,
        _Sections(out, walls),
        settings,
        out,
        advice=[record.advice for record in records],
        compared=_compared(walls),
        runs=[record.runs for record in records],
    )
    with writing(out / "report.html") as file:
        for part in parts:
            file.write(part.encode("utf-8"))


class _Sections(Sequence[str]):
    """The walls' sections of the report, each read from its file when it is its turn."""

    def __init__(self, out: Path, walls: Sequence[Row]) -> None:
        self._places = [Places(out, str(wall["wall"])) for wall in walls]

    def __len__(self) -> int:
        return len(self._places)

    @overload
    def __getitem__(self, index: int) -> str: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[str]: ...
    def __getitem__(self, index: int | slice) -> str | Sequence[str]:
        if isinstance(index, slice):
            return [self[k] for k in range(len(self))[index]]
        return self._places[index].section.read_text(encoding="utf-8")


def _try_printing(settings: Settings, parquet: bool, pdf: bool) -> None:
    """Fail now if a library is missing, not after hours of reading."""
    if parquet:
        ParquetFile(io.BytesIO(), TABLES["walls"]).close()
    if pdf:
        pdf_of("<p>A page.</p>", settings.report.units)


def _check_writable(out: Path) -> None:
    try:
        out.mkdir(parents=True, exist_ok=True)
        # Made first, so that a later look for photos knows the folder for one of results.
        (out / "records").mkdir(exist_ok=True)
        write_bytes(out / ".writable", b"")
        (out / ".writable").unlink()
    except Exception as error:
        # A disk has OSError, and every kind of store errors of its own.
        said = error.strerror if isinstance(error, OSError) and error.strerror else error
        raise BadRequest(f"{out} cannot be written ({said}).", "Choose another --out.") from error

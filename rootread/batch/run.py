"""A run: read each wall that is missing or changed, keep its record, write the tables and the report."""

import json
import multiprocessing
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import cv2

from rootread.batch.files import file_stem, write_bytes, write_json
from rootread.batch.plan import Plan, WallJob
from rootread.errors import BadRequest
from rootread.report import (
    TABLES,
    advice_items,
    draw_wall,
    jpeg,
    page,
    rows_of,
    table_csv,
    traces_json,
    wall_section,
)
from rootread.schema import Row
from rootread.settings import Settings
from rootread.wall import Wall, read_or_refuse

Progress = Callable[[int, int, "Record"], None]


@dataclass(frozen=True)
class Record:
    """What a run keeps of one wall: enough for the tables and the report, without the photo."""

    key: str
    rows: dict[str, list[Row]]
    """Rows of each table, by the table's name."""
    section: str
    """The wall's section of the report, HTML."""
    advice: list[dict[str, str]]
    """What to do, for the report's summary."""

    @property
    def wall(self) -> Row:
        """The wall's own row."""
        return self.rows["walls"][0]


@dataclass(frozen=True)
class Run:
    """A finished run."""

    out: Path
    records: tuple[Record, ...]
    messages: tuple[str, ...]

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
    out: Path,
    settings: Settings | None = None,
    workers: int = 1,
    progress: Progress | None = None,
) -> Run:
    """Read the walls of a plan and write everything that comes out into ``out``.

    A wall is written as soon as it is read. A wall whose photo, sheet row,
    marks, settings and program version are those of its record is not read
    again. Results do not depend on the number of ``workers``.

    Raises
    ------
    BadRequest : ``out`` cannot be written.
    """
    settings = settings or Settings()
    _check_writable(out)
    done: dict[int, Record] = {}
    for index, record in _records(plan, out, settings, workers):
        done[index] = record
        if progress:
            progress(len(done), len(plan.jobs), record)
    records = tuple(done[index] for index in range(len(plan.jobs)))
    for name in TABLES:
        rows = [row for record in records for row in record.rows[name]]
        write_bytes(out / f"{name}.csv", table_csv(name, rows).encode("utf-8"))
    report = page(
        [record.wall for record in records],
        [record.section for record in records],
        settings,
        out,
        [record.advice for record in records],
        _compared([record.wall for record in records]),
    )
    write_bytes(out / "report.html", report.encode("utf-8"))
    return Run(out, records, plan.messages)


def _compared(walls: list[Row]) -> list[str]:
    # Imported here, for comparing builds on runs.
    from rootread.compare import grade_words

    return grade_words(walls)


def _records(plan: Plan, out: Path, settings: Settings, workers: int) -> Iterator[tuple[int, Record]]:
    """Each wall's record with its place in the plan, as they come."""
    todo: list[tuple[int, WallJob, str]] = []
    for index, job in enumerate(plan.jobs):
        key = job.key(settings)
        kept = _kept_record(out, job, key)
        if kept:
            yield index, kept
        else:
            todo.append((index, job, key))
    if workers <= 1 or len(todo) <= 1:
        for index, job, key in todo:
            yield index, _read_and_write(job, key, out, settings)
        return
    # Fresh processes: a forked copy of OpenCV's threads can wait forever on a lock nobody holds.
    fresh = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, mp_context=fresh, initializer=_one_thread) as pool:
        futures = {pool.submit(_read_and_write, job, key, out, settings): index for index, job, key in todo}
        for future in as_completed(futures):
            yield futures[future], future.result()


def _one_thread() -> None:
    # The processes share the cores already; threads in each would only contend.
    cv2.setNumThreads(1)


def _read_and_write(job: WallJob, key: str, out: Path, settings: Settings) -> Record:
    """Read one wall; write its picture and traces, then its record, which says that they are there."""
    wall = read_or_refuse(job.photo, job.row, job.marks, settings)
    stem = file_stem(job.row.wall)
    if isinstance(wall, Wall):
        write_bytes(out / "pictures" / f"{stem}.jpg", jpeg(draw_wall(wall, settings)))
        write_json(out / "traces" / f"{stem}.json", traces_json(wall))
    record = Record(key, rows_of(wall), wall_section(wall, settings), advice_items(wall))
    write_json(_record_path(out, job), asdict(record))
    return record


def _kept_record(out: Path, job: WallJob, key: str) -> Record | None:
    try:
        kept: dict[str, Any] = json.loads(_record_path(out, job).read_text(encoding="utf-8"))
        return Record(**kept) if kept["key"] == key else None
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _record_path(out: Path, job: WallJob) -> Path:
    return out / "records" / f"{file_stem(job.row.wall)}.json"


def _check_writable(out: Path) -> None:
    try:
        out.mkdir(parents=True, exist_ok=True)
        write_bytes(out / ".writable", b"")
        (out / ".writable").unlink()
    except OSError as error:
        raise BadRequest(f"{out} cannot be written ({error.strerror}).", "Choose another --out.") from error

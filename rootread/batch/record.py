"""What a run keeps of each wall, so that tables and report can be made without its photo."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rootread.report import (
    Drawing,
    PlanePictures,
    advice_items,
    draw_plane,
    draw_sheets,
    draw_wall,
    jpeg,
    rows_of,
    run_captions,
    traces_json,
    wall_section,
)
from rootread.schema import Row
from rootread.settings import Settings
from rootread.store import file_stem, write_bytes, write_json
from rootread.threads import both, share_out
from rootread.units import lengths_shown_in
from rootread.wall import RefusedWall, Wall

Rows = dict[str, list[Row]]
"""Rows of each table, by the table's name."""


@dataclass(frozen=True)
class Record:
    """One wall of a run, as much of it as is held while the others are read."""

    wall: Row
    """The wall's row of ``walls.csv``."""
    advice: tuple[dict[str, str], ...]
    """The first thing to do, for the report's summary."""
    runs: tuple[str, ...]
    """What the summary's pictures of sideways runs show."""
    kept: bool
    """An earlier run had read it and nothing has changed since."""


@dataclass(frozen=True)
class Places:
    """The files of one wall in a folder of results."""

    out: Path
    wall: str

    @property
    def picture(self) -> Path:
        """The photo with its marks."""
        return self.out / "pictures" / f"{file_stem(self.wall)}.jpg"

    @property
    def scale_picture(self) -> Path:
        """The scale object as it was found, with the grid of lengths it gives."""
        return self.out / "pictures" / f"{file_stem(self.wall)}-scale.jpg"

    @property
    def traces(self) -> Path:
        """Each root's line."""
        return self.out / "traces" / f"{file_stem(self.wall)}.json"

    @property
    def roots(self) -> Path:
        """The roots as they were found and followed, for the next run."""
        return self.out / "records" / f"{file_stem(self.wall)}.npz"

    @property
    def section(self) -> Path:
        """The wall's section of the report, HTML."""
        return self.out / "records" / f"{file_stem(self.wall)}.html"

    @property
    def rows(self) -> Path:
        """The wall's rows of every table, its advice, and the hash of what they were made from."""
        return self.out / "records" / f"{file_stem(self.wall)}.json"


def write_wall(
    wall: Wall | RefusedWall,
    out: Path,
    key: str,
    settings: Settings,
    drawn: Callable[[], PlanePictures] | None = None,
) -> Record:
    """Write all that comes of one wall; last the record, which says that the rest is there.

    ``drawn`` gives what ``draw_plane`` made of it, where that was begun before.
    """
    places = Places(out, wall.name)
    scale_picture = f"pictures/{places.scale_picture.name}"
    if isinstance(wall, Wall):
        sheets, pictures = both(
            lambda: draw_sheets(wall, settings),
            drawn or (lambda: draw_plane(wall.photo, wall.plane, settings)),
        )
        drawing = Drawing(pictures, *sheets)
        write_bytes(places.scale_picture, pictures.scale)
        files: tuple[Callable[[], None], ...] = (
            lambda: write_bytes(
                places.section, wall_section(wall, settings, scale_picture, drawing).encode("utf-8")
            ),
            lambda: write_json(places.traces, traces_json(wall)),
            lambda: write_bytes(places.picture, jpeg(draw_wall(wall, settings, drawing))),
        )
        share_out(lambda write: write(), files)
    else:
        for stale in (places.picture, places.scale_picture, places.traces, places.roots):
            stale.unlink(missing_ok=True)
        write_bytes(places.section, wall_section(wall, settings, scale_picture).encode("utf-8"))
    # Sentences only: every figure of the tables is in inches.
    with lengths_shown_in(settings.report.units):
        rows, advice = rows_of(wall), advice_items(wall)
        runs = run_captions(wall) if isinstance(wall, Wall) else []
    write_json(places.rows, {"key": key, "rows": rows, "advice": advice, "runs": runs})
    return Record(rows["walls"][0], tuple(advice[:1]), tuple(runs), False)


def kept_record(out: Path, wall: str, key: str) -> Record | None:
    """The record of an earlier run, if it was made from the same things and its files are all there."""
    places = Places(out, wall)
    try:
        found: dict[str, Any] = json.loads(places.rows.read_text(encoding="utf-8"))
        wall_row, advice = found["rows"]["walls"][0], tuple(found["advice"][:1])
        record = Record(wall_row, advice, tuple(found["runs"]), True)
        read = record.wall["status"] == "read"
    except (OSError, ValueError, KeyError, TypeError, IndexError):
        return None
    files = [places.section, *([places.picture, places.scale_picture, places.traces] if read else [])]
    return record if found.get("key") == key and all(file.exists() for file in files) else None


def read_rows(out: Path, wall: str) -> Rows:
    """A wall's rows of every table."""
    rows: Rows = json.loads(Places(out, wall).rows.read_text(encoding="utf-8"))["rows"]
    return rows

"""The way of a wall, one line a stage: photo in, graded wall out."""

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from rootread.errors import RootreadError
from rootread.fieldsheet import SheetRow, default_row
from rootread.find import RootMap, find_roots, paint, with_cracks
from rootread.follow import Trace, follow_roots, with_marked_roots
from rootread.judge import Grade, Judgement, Layer, find_layers, grade_wall, judge_wall, with_marked_layers
from rootread.marks import Marks, read_marks
from rootread.measure import Readings, measure_wall
from rootread.photo import Photo, read_photo
from rootread.plane import WallImage, WallPlane, find_plane, lay_flat, shown_down_to_in, within_outline
from rootread.settings import Settings
from rootread.threads import begun
from rootread.units import lengths_shown_in

Beside = Callable[[Photo, WallPlane], None]
"""Begins what needs no more than a wall's photo and plane."""


@dataclass(frozen=True, eq=False)
class Wall:
    """One wall, read: the value of every stage, in the order they were made."""

    name: str
    photo: Photo
    row: SheetRow
    plane: WallPlane
    image: WallImage
    root_map: RootMap
    traces: tuple[Trace, ...]
    readings: Readings
    layers: tuple[Layer, ...]
    grade: Grade
    judgement: Judgement
    seconds: float
    marks: Marks = field(default_factory=Marks)
    """What a person drew on it, or said of it."""


@dataclass(frozen=True, eq=False)
class Roots:
    """The roots of one wall as they were found and followed, which takes most of a reading's time."""

    root_map: RootMap
    traces: tuple[Trace, ...]
    """As a person corrected them."""


@dataclass(frozen=True)
class RefusedWall:
    """One wall that could not be read, and why."""

    name: str
    photo_name: str
    row: SheetRow
    reason: str
    remedy: str


def read_wall(
    photo: str | Path | Photo,
    row: SheetRow | None = None,
    marks: Marks | None = None,
    settings: Settings | None = None,
    roots: Roots | None = None,
    beside: Beside | None = None,
) -> Wall:
    """Read one wall from its photo.

    Parameters
    ----------
    photo : path of the photo, or a photo already read.
    row : the wall's row of the field sheet; without it the scale object is
        looked for and no layers are recorded.
    marks : what a person drew on the photo; marks win over detection.
    settings : defaults when left out.
    roots : those that an earlier reading found, with the same photo, row, marks, and settings up to
        ``follow``; they are not sought again.
    beside : called before roots are followed, which leaves a core free for a while; not called where
        ``roots`` are given.

    Raises
    ------
    WallRefused : the photo cannot be read or no believable scale is in it.
    """
    settings = settings or Settings()
    with lengths_shown_in(settings.report.units):
        return _read(photo, row, marks, settings, roots, beside)


def _read(
    photo: str | Path | Photo,
    row: SheetRow | None,
    marks: Marks | None,
    settings: Settings,
    roots: Roots | None,
    beside: Beside | None,
) -> Wall:
    started = time.perf_counter()
    if not isinstance(photo, Photo):
        photo = read_photo(Path(photo), settings.photo)
    row = row or default_row(photo.path.name if photo.path else "photo")

    plane = find_plane(photo, row, marks, settings.plane)
    image = within_outline(lay_flat(photo, plane, settings.plane), plane, marks)
    if roots is None:
        root_map = paint(find_roots(image, settings.find), plane, marks)
        if beside is not None:
            beside(photo, plane)
        # Measuring alone asks for cracks, and following leaves a core free for a while.
        cracked = begun(lambda: with_cracks(root_map, image))
        traces = follow_roots(root_map, image, plane.surface, settings.follow)
        roots = Roots(cracked(), with_marked_roots(traces, plane, marks))
    readings = measure_wall(roots.traces, plane, settings.measure, image, marks, roots.root_map.cracks_in)
    layers = find_layers(readings, row.layers, settings.judge)
    layers = with_marked_layers(layers, readings, plane, marks, row.layers)
    grade = grade_wall(readings, layers, row, settings.judge)
    deepest_in = shown_down_to_in(image, marks)
    judgement = judge_wall(readings, layers, grade, row, settings.judge, plane, marks, deepest_in)

    seconds = time.perf_counter() - started
    return Wall(
        row.wall,
        photo,
        row,
        plane,
        image,
        roots.root_map,
        roots.traces,
        readings,
        layers,
        grade,
        judgement,
        seconds,
        marks or Marks(),
    )


def read_or_refuse(
    photo: Path,
    row: SheetRow,
    marks_file: Path | None = None,
    settings: Settings | None = None,
    roots: Roots | None = None,
    beside: Beside | None = None,
) -> Wall | RefusedWall:
    """Read one wall of a folder run; a wall that cannot be read becomes a ``RefusedWall``."""
    try:
        taken = read_photo(photo, (settings or Settings()).photo)
        marks = read_marks(marks_file, taken.size_px) if marks_file else None
        return read_wall(taken, row, marks, settings, roots, beside)
    except RootreadError as error:
        # Its sheet row, marks or settings may be at fault, too: the walls after it are still read.
        return RefusedWall(row.wall, photo.name, row, error.cause_beside(photo.name), error.remedy)

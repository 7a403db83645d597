"""The way of one wall in stages whose results stay, so that a change re-reads only what depends on it."""

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from rootread.desk.snap import packed
from rootread.fieldsheet import SheetRow
from rootread.find import RootMap, find_roots, paint, with_cracks
from rootread.follow import Trace, follow_roots, with_marked_roots
from rootread.geometry import Points
from rootread.judge import Grade, Layer, find_layers, grade_wall, judge_wall, with_marked_layers
from rootread.marks import Marks
from rootread.measure import Readings, measure_wall
from rootread.photo import Photo, read_photo
from rootread.plane import (
    WallImage,
    WallPlane,
    find_plane,
    lay_flat,
    locate_scale,
    shown_across_in,
    shown_down_to_in,
    within_outline,
)
from rootread.plane.marked import check_marked_places
from rootread.plane.scale import Located
from rootread.settings import Settings
from rootread.units import lengths_shown_in
from rootread.wall import Wall

Value = TypeVar("Value")
Key = tuple[Any, ...]

MOST_SEEN = 8
"""Readings under other marks that are remembered, without their large values."""
HEAVY = ("photo", "flat", "image", "found", "painted")
"""Stages whose values are as large as the photo."""


@dataclass(frozen=True, eq=False)
class Seen:
    """What of a reading depends on the photo's pixels; every quick look builds on it."""

    photo_size_px: tuple[int, int]
    plane: WallPlane
    traces: tuple[Trace, ...]
    """As followed, before a person's corrections."""
    cautions: tuple[str, ...]
    row: SheetRow
    marks: Marks
    """Those it was read with."""
    image: WallImage
    """The wall laid flat, on disk until it is looked into."""
    root_map: bytes
    """How likely each of its pixels is root, packed: on it clicks become lines."""
    cracks_in: Points | None
    """``(K, 2)`` places in its face that show a crack."""
    deepest_in: float | None
    """How far down the photo shows the wall; None where that is not known."""
    across_in: tuple[float, float] | None
    """x at which the wall in the photo begins and ends; None where that is not known."""
    floor_in: float | None
    """Depth of the pit floor's edge, of which the last of the cautions tells; None where it is not seen."""
    key: Key
    """Of the last stage: what all of it was made from."""


@dataclass(frozen=True, eq=False)
class Reading:
    """A wall's figures, without what fills memory."""

    row: SheetRow
    seen: Seen
    plane: WallPlane
    traces: tuple[Trace, ...]
    readings: Readings
    found: tuple[Layer, ...]
    """Layers as found, before a person's word on them."""
    layers: tuple[Layer, ...]
    grade: Grade
    marks: Marks
    settled: bool
    """False while the last change has still to be read whole."""


class Stages:
    """The stages of one wall, each kept with what it was made from."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._kept: dict[str, tuple[Key, Any]] = {}
        self._seen: dict[Key, Seen] = {}
        self.photo_size_px: tuple[int, int] | None = None
        """Of the photo as it was last opened; None until it was."""

    def seen(self, photo: Path, row: SheetRow, marks: Marks, say: Callable[[str], None]) -> Seen:
        """Everything that needs the photo; ``say`` is told each stage as it begins.

        Raises
        ------
        WallRefused, BadRequest : as ``read_wall``.
        """
        known = self.known(photo, row, marks)
        if known is not None:
            return known
        with lengths_shown_in(self._settings.report.units):
            return self._look(photo, row, marks, say)

    def open(self, photo: Path) -> Photo:
        """The photo.

        Raises
        ------
        UnreadablePhoto : as ``read_photo``.
        """
        taken = self._keep("photo", _photo_key(photo), lambda: read_photo(photo, self._settings.photo))
        self.photo_size_px = taken.size_px
        return taken

    def _look(self, photo: Path, row: SheetRow, marks: Marks, say: Callable[[str], None]) -> Seen:
        settings = self._settings
        say("opening the photo")
        taken = self.open(photo)
        key: Key = _scale_key(photo, row, marks)
        say("finding the scale")
        located = self._keep("scale", key, lambda: locate_scale(taken, row, marks))
        key = (key, _marks_for_plane(marks))
        plane = self._keep("plane", key, lambda: find_plane(taken, row, marks, settings.plane, located))
        say("laying the wall flat")
        flat = self._keep("flat", key, lambda: lay_flat(taken, plane, settings.plane))
        key = (key, marks.outline_px)
        image = self._keep("image", key, lambda: within_outline(flat, plane, marks))
        say("finding roots")
        found = self._keep("found", key, lambda: find_roots(image, settings.find))
        key = (key, marks.strokes)
        painted = self._keep("painted", key, lambda: with_cracks(paint(found, plane, marks), image))
        say("following roots")
        traces = self._keep(
            "traces", key, lambda: follow_roots(painted, image, plane.surface, settings.follow)
        )
        cautions = (*plane.cautions, *painted.told)
        parked = self._keep("parked", key[0], lambda: _parked(image))
        deepest_in = shown_down_to_in(image, marks)
        seen = Seen(
            taken.size_px,
            plane,
            traces,
            cautions,
            row,
            marks,
            parked,
            packed(painted),
            painted.cracks_in,
            deepest_in,
            shown_across_in(image, marks),
            painted.floor_in,
            key,
        )
        # The last few, so that undoing a scale or a stroke takes no time either.
        self._seen = dict([*self._seen.items(), (key, seen)][-MOST_SEEN:])
        return seen

    def known(self, photo: Path, row: SheetRow, marks: Marks) -> Seen | None:
        """What was seen under such marks before, if not too long ago."""
        key: Key = (_scale_key(photo, row, marks), _marks_for_plane(marks))
        return self._seen.get(((key, marks.outline_px), marks.strokes))

    @property
    def photo(self) -> Photo | None:
        """The photo, where it is still kept."""
        # Asked once: it may be let go in between.
        kept = self._kept.get("photo")
        return kept[1] if kept is not None else None

    def located(self, photo: Path, row: SheetRow, marks: Marks) -> Located | None:
        """The scale object, where it was located for the same photo, row and marks."""
        kept = self._kept.get("scale")
        return kept[1] if kept is not None and kept[0] == _scale_key(photo, row, marks) else None

    def wall(self, photo: Path, reading: Reading, seconds: float) -> Wall | None:
        """The wall as ``read_wall`` gives it; None where the reading is not of the photo as it lies there.

        Where the root map has been let go, an empty one takes its place: of
        what is written of a wall nothing looks at its pixels.
        """
        seen, row = reading.seen, reading.row
        if not reading.settled or self.known(photo, row, reading.marks) is not seen:
            return None
        image, root_map = self.pixels(seen) or (seen.image, _bare_map(seen))
        taken = self.photo or read_photo(photo, self._settings.photo)
        with lengths_shown_in(self._settings.report.units):
            judgement = judge_wall(
                reading.readings,
                reading.layers,
                reading.grade,
                row,
                self._settings.judge,
                reading.plane,
                reading.marks,
                seen.deepest_in,
            )
        return Wall(
            row.wall,
            taken,
            row,
            reading.plane,
            image,
            root_map,
            reading.traces,
            reading.readings,
            reading.layers,
            reading.grade,
            judgement,
            seconds,
            reading.marks,
        )

    def pixels(self, seen: Seen) -> tuple[WallImage, RootMap] | None:
        """The flat wall and the root map that a reading was made from, where they are still kept."""
        kept = self._kept
        if "painted" not in kept or "image" not in kept:
            return None
        if kept["painted"][0] != seen.key or kept["image"][0] != seen.key[0]:
            return None
        return kept["image"][1], kept["painted"][1]

    def forget_large(self) -> None:
        """Let go of what fills memory."""
        self._kept = {name: value for name, value in self._kept.items() if name not in HEAVY}

    def _keep(self, name: str, key: Key, make: Callable[[], Value]) -> Value:
        kept = self._kept.get(name)
        if kept is not None and kept[0] == key:
            value: Value = kept[1]
            return value
        value = make()
        self._kept = {**self._kept, name: (key, value)}
        return value


def judged(
    seen: Seen,
    plane: WallPlane,
    traces: tuple[Trace, ...],
    row: SheetRow,
    marks: Marks,
    settings: Settings,
    found: Sequence[Layer] | None = None,
) -> Reading:
    """What comes after the photo: corrected traces, their figures, layers and grade.

    With layers that were ``found`` before, these are taken as they are, and
    the reading is not settled: it is of traces that are not followed anew yet.

    Raises
    ------
    BadMarks : what is marked cannot be on this plane. A run finds that with the plane, which
        is not found anew here for a root drawn on it.
    """
    with lengths_shown_in(settings.report.units):
        check_marked_places(marks, plane.to_wall_in, plane.scale.px_per_in)
        mended = with_marked_roots(traces, plane, marks)
        # The flat picture fits no other plane; until it is made anew, widths alone tell what is flattened.
        image, cracks_in = (seen.image, seen.cracks_in) if plane is seen.plane else (None, None)
        readings = measure_wall(mended, plane, settings.measure, image, marks, cracks_in)
        sought = tuple(found) if found is not None else find_layers(readings, row.layers, settings.judge)
        layers = with_marked_layers(sought, readings, plane, marks, row.layers)
        grade = grade_wall(readings, layers, row, settings.judge)
    return Reading(row, seen, plane, mended, readings, sought, layers, grade, marks, found is None)


def _bare_map(seen: Seen) -> RootMap:
    """A root map that only says what to be careful about."""
    nothing = np.zeros((0, 0), dtype=bool)
    told = seen.cautions[len(seen.plane.cautions) :]
    cautions = told if seen.floor_in is None else told[:-1]
    likely = nothing.astype(np.float32)
    return RootMap(likely, nothing, seen.image.grid, cautions, floor_in=seen.floor_in)


def _parked(image: WallImage) -> WallImage:
    """The same picture in a file without a name, which ends with the desk however it ends."""

    def parked(values: NDArray[Any]) -> NDArray[Any]:
        with tempfile.TemporaryFile() as file:
            values.tofile(file)
            file.flush()
            return np.memmap(file, dtype=values.dtype, mode="r", shape=values.shape)

    return WallImage(parked(image.rgb), parked(image.soil), image.grid)


def same_sight(seen: Seen, row: SheetRow, marks: Marks) -> bool:
    """Whether these marks and this row leave all that depends on the photo as it was seen."""
    return (
        _row_for_plane(row) == _row_for_plane(seen.row)
        and _marks_for_plane(marks) == _marks_for_plane(seen.marks)
        and (marks.outline_px, marks.strokes) == (seen.marks.outline_px, seen.marks.strokes)
    )


def same_plane(seen: Seen, row: SheetRow, marks: Marks) -> bool:
    """Whether the wall lies where it was seen to lie."""
    return _row_for_plane(row) == _row_for_plane(seen.row) and _marks_for_plane(marks) == _marks_for_plane(
        seen.marks
    )


def _row_for_plane(row: SheetRow) -> SheetRow:
    """The row without what says nothing of scale, level and surface."""
    return replace(
        row,
        wall="",
        pit="",
        treatment="",
        date="",
        crop="",
        stage="",
        notes="",
        layers=(),
        tool_depth_in=None,
        shank_spacing_in=None,
        shanks_at_in=(),
        pit_depth_in=None,
        row=None,
    )


def _marks_for_plane(marks: Marks) -> Marks:
    """The marks without those that later stages take in; a mark not known here reads all again."""
    return replace(
        marks,
        photo_size_px=None,
        outline_px=(),
        roots_added=(),
        roots_struck_px=(),
        splits_px=(),
        joins_px=(),
        flattened_px=(),
        not_flattened_px=(),
        layers=(),
        layers_struck_px=(),
        strokes=(),
        loosened_floor_px=(),
        checked="",
    )


def _scale_key(photo: Path, row: SheetRow, marks: Marks) -> Key:
    return _photo_key(photo), _row_for_plane(row), marks.scale_points, marks.distance_in


def _photo_key(photo: Path) -> Key:
    try:
        status = photo.stat()
    except OSError:
        return (str(photo),)  # reading it says what is wrong
    return str(photo), status.st_mtime_ns, status.st_size

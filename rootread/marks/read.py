"""Marks from their JSON file, and back into it."""

import json
import math
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

from rootread import infile
from rootread.errors import BadMarks
from rootread.marks.sense import REMEDY, check_sense
from rootread.marks.types import (
    LONGEST_TEXT,
    LayerMark,
    Line,
    Marks,
    Place,
    RootMark,
    ScaleMark,
    Stroke,
)

VERSION = 1
LARGEST_MB = 5.0


def marks_path(photo: Path, wall: str) -> Path:
    """Where the marks of a wall lie: in ``marks`` beside its photo.

    >>> marks_path(Path("pit 1/IMG_0042.jpg"), "north").as_posix()
    'pit 1/marks/north.json'
    """
    return photo.parent / "marks" / f"{wall}.json"


def read_marks(path: Path, photo_size_px: tuple[int, int] | None = None) -> Marks:
    """The marks in a file.

    Parameters
    ----------
    path : the JSON file.
    photo_size_px : columns and rows of the upright photo, to refuse marks drawn on another size.

    Raises
    ------
    BadMarks : unreadable, of another version, or something in it makes no sense; says where.
    """
    try:
        content = json.loads(infile.content(path, LARGEST_MB).decode("utf-8"), parse_int=float)
    except (OSError, ValueError, RecursionError) as error:  # bad text and bad JSON are ValueErrors
        raise BadMarks(f"{path.name}: not readable as JSON ({error}).", REMEDY) from error
    return marks_from(content, path.name, photo_size_px)


def marks_from(content: Any, name: str, photo_size_px: tuple[int, int] | None = None) -> Marks:
    """The marks in JSON values whose numbers are floats; ``name`` says in errors where they came from.

    Raises
    ------
    BadMarks : as ``read_marks``.
    """
    marks = _Reader(name).marks(content)
    check_sense(marks, name, photo_size_px)
    if photo_size_px and marks.photo_size_px and tuple(photo_size_px) != marks.photo_size_px:
        drawn, actual = ("{} x {}".format(*size) for size in (marks.photo_size_px, photo_size_px))
        raise BadMarks(
            f"{name}: drawn on a photo of {drawn} pixels, but this one has {actual}.",
            "Use the photo the marks were drawn on, or draw them again.",
        )
    return marks


def marks_values(marks: Marks) -> dict[str, Any]:
    """The marks as the values of their JSON file."""
    return {"version": VERSION, **asdict(marks)}


def write_marks(marks: Marks, path: Path) -> None:
    """Write the marks as JSON; the file is replaced whole or not at all.

    Raises
    ------
    BadMarks : something in the marks makes no sense, so they could not be read back.
    """
    check_sense(marks, path.name)
    text = json.dumps(marks_values(marks), indent=1, allow_nan=False)
    path.parent.mkdir(parents=True, exist_ok=True)
    draft = path.with_name(f".{path.name}.draft")
    try:
        draft.write_text(text + "\n", encoding="utf-8")
        draft.replace(path)
    finally:
        draft.unlink(missing_ok=True)


@dataclass(frozen=True)
class _Reader:
    """Turns JSON values into marks, naming the place of whatever does not fit."""

    file: str

    def fail(self, where: str, wanted: str) -> BadMarks:
        return BadMarks(f"{self.file}: {where} must be {wanted}.", REMEDY)

    def keys(self, value: Any, known: list[str], where: str) -> dict[str, Any]:
        if not isinstance(value, dict):
            raise self.fail(where, "a group of named values")
        unknown = sorted(set(value) - set(known))
        if unknown:
            raise BadMarks(
                f"{self.file}: {where} has an unknown key {unknown[0]!r}.", f"Known: {', '.join(known)}."
            )
        return value

    def items(self, value: Any, where: str) -> list[tuple[Any, str]]:
        if not isinstance(value, list):
            raise self.fail(where, "a list")
        return [(item, f"{where}[{index}]") for index, item in enumerate(value)]

    def number(self, value: Any, where: str) -> float:
        if not isinstance(value, float) or not math.isfinite(value):
            raise self.fail(where, "a number")
        return value

    def text(self, value: Any, where: str) -> str:
        if not isinstance(value, str) or len(value) > LONGEST_TEXT:
            raise self.fail(where, f"text of up to {LONGEST_TEXT} letters")
        return value

    def optional(self, value: Any, where: str) -> float | None:
        return None if value is None else self.number(value, where)

    def place(self, value: Any, where: str) -> Place:
        pair = self.items(value, where)
        if len(pair) != 2:
            raise self.fail(where, "two numbers")
        first, second = (self.number(*item) for item in pair)
        return first, second

    def line(self, value: Any, where: str) -> Line:
        return tuple(self.place(*item) for item in self.items(value, where))

    def scale_mark(self, value: Any, where: str) -> ScaleMark:
        given = self.keys(value, ["px", "at_in"], where)
        at_in = given.get("at_in")
        return ScaleMark(
            px=self.place(given.get("px"), f"{where}.px"),
            at_in=None if at_in is None else self.place(at_in, f"{where}.at_in"),
        )

    def root(self, value: Any, where: str) -> RootMark:
        given = self.keys(value, ["points_px", "width_px"], where)
        return RootMark(
            points_px=self.line(given.get("points_px"), f"{where}.points_px"),
            width_px=self.optional(given.get("width_px"), f"{where}.width_px"),
        )

    def stroke(self, value: Any, where: str) -> Stroke:
        given = self.keys(value, ["says", "points_px", "width_px"], where)
        says = given.get("says")
        if says not in ("root", "soil"):
            raise self.fail(f"{where}.says", "root or soil")
        return Stroke(
            says=says,
            points_px=self.line(given.get("points_px"), f"{where}.points_px"),
            width_px=self.number(given.get("width_px"), f"{where}.width_px"),
        )

    def layer(self, value: Any, where: str) -> LayerMark:
        given = self.keys(value, ["line_px", "name"], where)
        return LayerMark(
            line_px=self.line(given.get("line_px"), f"{where}.line_px"),
            name=self.text(given.get("name", ""), f"{where}.name"),
        )

    def size(self, value: Any, where: str) -> tuple[int, int] | None:
        if value is None:
            return None
        columns, rows = self.place(value, where)
        if not (columns.is_integer() and rows.is_integer()):
            raise self.fail(where, "whole numbers")
        return int(columns), int(rows)

    def marks(self, content: Any) -> Marks:
        given = self.keys(content, ["version", *(field.name for field in fields(Marks))], "the file")
        if given.get("version") != VERSION:
            raise BadMarks(
                f"{self.file}: version {given.get('version')!r} of the marks is not known; "
                f"this rootread reads version {VERSION}.",
                "Use the rootread that drew them, or a newer one.",
            )
        lists = {
            name: self.items(given.get(name, []), name)
            for name in (
                "scale_points",
                "roots_added",
                "roots_struck_px",
                "strokes",
                "joins_px",
                "flattened_px",
                "not_flattened_px",
                "layers",
                "layers_struck_px",
            )
        }
        return Marks(
            photo_size_px=self.size(given.get("photo_size_px"), "photo_size_px"),
            scale_points=tuple(self.scale_mark(*item) for item in lists["scale_points"]),
            distance_in=self.optional(given.get("distance_in"), "distance_in"),
            plumb_px=self.line(given.get("plumb_px", []), "plumb_px"),
            surface_px=self.line(given.get("surface_px", []), "surface_px"),
            outline_px=self.line(given.get("outline_px", []), "outline_px"),
            roots_added=tuple(self.root(*item) for item in lists["roots_added"]),
            roots_struck_px=tuple(self.line(*item) for item in lists["roots_struck_px"]),
            splits_px=self.line(given.get("splits_px", []), "splits_px"),
            joins_px=tuple(self.line(*item) for item in lists["joins_px"]),
            flattened_px=tuple(self.line(*item) for item in lists["flattened_px"]),
            not_flattened_px=tuple(self.line(*item) for item in lists["not_flattened_px"]),
            layers=tuple(self.layer(*item) for item in lists["layers"]),
            layers_struck_px=tuple(self.line(*item) for item in lists["layers_struck_px"]),
            strokes=tuple(self.stroke(*item) for item in lists["strokes"]),
            loosened_floor_px=self.line(given.get("loosened_floor_px", []), "loosened_floor_px"),
            checked=self.text(given.get("checked", ""), "checked"),
        )

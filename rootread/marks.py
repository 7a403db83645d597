"""What a person drew on a photo: ``marks/WALL.json`` beside the photos.

Every place is a pixel of the upright photo, (column, row), pixel centres at
whole numbers. The file's keys are the field names of ``Marks``; a key may be
left out. Marks win over detection.

    {"version": 1,
     "photo_size_px": [4000, 3000],
     "scale_points": [{"px": [1810.5, 402]}, {"px": [1822, 2210]}], "distance_in": 36,
     "plumb_px": [[2100, 500], [2098, 1900]],
     "surface_px": [[0, 310], [2000, 298], [3999, 322]],
     "outline_px": [[90, 300], [3900, 310], [3880, 2900], [120, 2890]],
     "roots_added": [{"points_px": [[700, 400], [760, 520]], "width_px": 9}],
     "roots_struck_px": [[[1500, 800], [1540, 910]]],
     "splits_px": [[1220, 1310]],
     "joins_px": [[[800, 1500], [860, 1540]]],
     "flattened_px": [[[2100, 1400], [2160, 1410]]],
     "not_flattened_px": [[[900, 1200], [930, 1260]]],
     "layers": [{"name": "disk", "line_px": [[300, 1480], [3700, 1470]]}],
     "layers_struck_px": [[[300, 2080], [3700, 2070]]],
     "strokes": [{"says": "soil", "points_px": [[300, 900], [420, 905]], "width_px": 20}],
     "loosened_floor_px": [[0, 1500], [3999, 1480]],
     "checked": "111 roots, 594 in, 1 layer, grade 61"}
"""

import json
import math
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any, Literal

from rootread import infile
from rootread.errors import BadMarks

VERSION = 1
LARGEST_MB = 5.0
LARGEST_PX = 50_000
"""Longest side of a photo whose size is not known."""
LARGEST_IN = 2000.0
"""No wall is longer, nor any distance on one."""
LONGEST_TEXT = 200
REMEDY = "Mend it or draw the marks again."

Place = tuple[float, float]
Line = tuple[Place, ...]


@dataclass(frozen=True)
class ScaleMark:
    """A place in the photo whose position on the wall is known."""

    px: Place
    at_in: Place | None = None
    """x to the right and z down in inches, from any origin on the wall. Only with four points."""


@dataclass(frozen=True)
class RootMark:
    """A root drawn by hand, base first."""

    points_px: Line
    width_px: float | None = None
    """Visible width; None leaves it to be measured in the photo."""


@dataclass(frozen=True)
class Stroke:
    """A brush stroke that says what the pixels under it are."""

    says: Literal["root", "soil"]
    points_px: Line
    width_px: float


@dataclass(frozen=True)
class LayerMark:
    """A layer as a person sees it, left to right; its depth is the mean of the line's."""

    line_px: Line
    name: str = ""


@dataclass(frozen=True)
class Marks:
    """Everything drawn on one photo; all of it optional.

    The scale is one of:

    - two points without ``at_in``, and ``distance_in`` between them. They give
      one length in one direction, no more: not the tilt, not the plumb line.
    - four points that each have ``at_in``, no three on a line, as the corners
      of a known rectangle (0, 0), (w, 0), (w, h), (0, h). They give the whole
      plane, with x and z as stated; whether that z is plumb they do not say.
    """

    photo_size_px: tuple[int, int] | None = None
    """Columns and rows of the upright photo the marks were drawn on."""
    scale_points: tuple[ScaleMark, ...] = ()
    distance_in: float | None = None
    plumb_px: Line = ()
    """Two places on something known to hang plumb, the upper one first."""
    surface_px: Line = ()
    """The soil surface, left to right."""
    outline_px: Line = ()
    """The wall's outline, a closed polygon whose last side is not repeated."""
    roots_added: tuple[RootMark, ...] = ()
    roots_struck_px: tuple[Line, ...] = ()
    """A line along each stretch that is no root; a single place strikes out the root under it."""
    splits_px: Line = ()
    """Places where one trace is two roots."""
    joins_px: tuple[Line, ...] = ()
    """Two places each: the ends of two traces that are one root, in the order in which they follow."""
    flattened_px: tuple[Line, ...] = ()
    """A line along each stretch of root that is squeezed flat."""
    not_flattened_px: tuple[Line, ...] = ()
    """A line along each stretch of root that looks squeezed flat and is not."""
    layers: tuple[LayerMark, ...] = ()
    layers_struck_px: tuple[Line, ...] = ()
    """A line along each found layer that is none; a single place strikes out the layer at it."""
    strokes: tuple[Stroke, ...] = ()
    loosened_floor_px: Line = ()
    """The floor of the loosened soil, left to right."""
    checked: str = ""
    """What a person looked at and found right, told by its main figures, so that it is known whether the wall
    still reads so; empty where nobody did."""

    @property
    def drawn(self) -> bool:
        """Whether anything was drawn, other than that the reading was looked at."""
        return replace(self, photo_size_px=None, checked="") != Marks()


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
    _check(marks, name, photo_size_px)
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
    _check(marks, path.name)
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


def _check(marks: Marks, file: str, photo_size_px: tuple[int, int] | None = None) -> None:
    """What single values cannot show: how many points, where, and whether they say anything."""
    lines = [
        ("plumb_px", marks.plumb_px, 2, True),
        ("surface_px", marks.surface_px, 2, True),
        ("outline_px", marks.outline_px, 3, True),
        ("loosened_floor_px", marks.loosened_floor_px, 2, True),
        *((f"roots_added[{k}]", root.points_px, 2, False) for k, root in enumerate(marks.roots_added)),
        *((f"roots_struck_px[{k}]", line, 1, False) for k, line in enumerate(marks.roots_struck_px)),
        *((f"joins_px[{k}]", line, 2, False) for k, line in enumerate(marks.joins_px)),
        *((f"flattened_px[{k}]", line, 2, False) for k, line in enumerate(marks.flattened_px)),
        *((f"not_flattened_px[{k}]", line, 2, False) for k, line in enumerate(marks.not_flattened_px)),
        *((f"layers_struck_px[{k}]", line, 1, False) for k, line in enumerate(marks.layers_struck_px)),
        *((f"layers[{k}]", layer.line_px, 2, False) for k, layer in enumerate(marks.layers)),
        *((f"strokes[{k}]", stroke.points_px, 1, False) for k, stroke in enumerate(marks.strokes)),
    ]
    for where, line, least, may_be_absent in lines:
        if len(line) < least and (line or not may_be_absent):
            raise BadMarks(f"{file}: {where} has {len(line)} points, but needs {least} or more.", REMEDY)
    size_px = photo_size_px or marks.photo_size_px or (LARGEST_PX, LARGEST_PX)
    scattered = [("splits_px", marks.splits_px), ("scale_points", tuple(at.px for at in marks.scale_points))]
    for where, line in [*((where, line) for where, line, _, _ in lines), *scattered]:
        # A line may run on over the picture's edge, by no more than the picture itself.
        if any(
            not -side <= at <= 2 * side for place in line for at, side in zip(place, size_px, strict=True)
        ):
            raise BadMarks(f"{file}: {where} lies far outside the photo.", "Draw it again on this photo.")
    pairs = [("plumb_px", marks.plumb_px), *((f"joins_px[{k}]", two) for k, two in enumerate(marks.joins_px))]
    for where, pair in pairs:
        if pair and (len(pair) != 2 or pair[0] == pair[1]):
            raise BadMarks(f"{file}: {where} has {len(pair)} points, but needs two apart.", REMEDY)
    widths = [
        *((f"roots_added[{k}]", root.width_px) for k, root in enumerate(marks.roots_added)),
        *((f"strokes[{k}]", stroke.width_px) for k, stroke in enumerate(marks.strokes)),
    ]
    for where, width_px in widths:
        if width_px is not None and not 0 < width_px <= max(size_px):
            raise BadMarks(
                f"{file}: {where} has a width of {width_px:g} pixels.",
                "Give one above 0 and within the photo.",
            )
    _check_scale(marks, file)


def _check_scale(marks: Marks, file: str) -> None:
    points = marks.scale_points
    known = [point.at_in for point in points if point.at_in is not None]
    distances = [abs(at) for place in known for at in place] + [marks.distance_in or 0.0]
    if max(distances) > LARGEST_IN:
        raise BadMarks(f"{file}: a distance of {max(distances):g} inches is no wall's.", "Give it in inches.")
    if len(points) == 0 and marks.distance_in is None:
        return
    if len(points) == 2 and not known and marks.distance_in is not None:
        if marks.distance_in <= 0 or points[0].px == points[1].px:
            raise BadMarks(f"{file}: the two scale points or their distance fall together.", REMEDY)
        return
    if len(points) == 4 and len(known) == 4 and marks.distance_in is None:
        if not _same_quadrilateral(tuple(point.px for point in points), tuple(known)):
            raise BadMarks(
                f"{file}: the four scale points lie on a line, cross over, or run round the other way "
                "in the photo than on the wall.",
                "Mark them in order around the rectangle: top left, top right, bottom right, bottom left.",
            )
        return
    raise BadMarks(
        f"{file}: {len(points)} scale points, {len(known)} of them with at_in, "
        f"{'no ' if marks.distance_in is None else 'a '}distance_in.",
        "Give two points and distance_in, or four points that each have at_in.",
    )


def _same_quadrilateral(in_photo: Line, on_wall: Line) -> bool:
    """Whether every corner turns the same way, in the photo and on the wall alike."""
    turns = set()
    for corners in (in_photo, on_wall):
        for k in range(4):
            (x0, y0), (x1, y1), (x2, y2) = (corners[(k + step) % 4] for step in range(3))
            cross = (x1 - x0) * (y2 - y1) - (y1 - y0) * (x2 - x1)
            turns.add((cross > 0) - (cross < 0))
    return len(turns) == 1 and 0 not in turns

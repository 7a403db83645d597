"""The field sheet: what a person wrote down about each photo.

``sheet.csv`` lies beside the photos, one row a photo, filled in with a
spreadsheet. Blank cells and missing columns are allowed, except for ``photo``.
Rows are counted as the spreadsheet counts them: the header is row 1.
"""

import csv
import io
import unicodedata
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any, Literal, get_args

from rootread.errors import BadRequest, BadSheet
from rootread.units import length_in

ScaleWord = Literal["auto", "card", "staff", "tape", "points"]
LevelWord = Literal["card", "staff", "photo", "surface"]

# Scale objects whose one length may differ from the usual: marker side, band length.
SCALES_WITH_UNIT = ("card", "staff")
# Walls name files (pictures/WALL.jpg), so their names must do on every system.
NOT_IN_A_NAME = set('/\\:*?"<>|')


@dataclass(frozen=True)
class RecordedLayer:
    """A layer someone recorded in the pit."""

    name: str
    depth_in: float


@dataclass(frozen=True)
class SheetRow:
    """One row of the field sheet; blank cells are empty text or None."""

    photo: str
    wall: str
    pit: str = ""
    treatment: str = ""
    date: str = ""
    crop: str = ""
    stage: str = ""
    scale: ScaleWord = "auto"
    scale_unit_in: float | None = None
    """Marker side of a card or band length of a staff, where it is not the usual one."""
    layers: tuple[RecordedLayer, ...] = ()
    """By depth."""
    tool_depth_in: float | None = None
    shank_spacing_in: float | None = None
    shanks_at_in: tuple[float, ...] = ()
    """x of the slots from the scale object's centre, left negative, left to right."""
    pit_depth_in: float | None = None
    notes: str = ""
    standoff_in: float | None = None
    """How far the scale object stands in front of the wall face."""
    level: LevelWord | None = None
    """What to take the plumb direction from; None leaves it to the settings."""
    lens: str | None = None
    """Name of a lens profile."""
    row: int | None = None
    """Row in the spreadsheet; None without a sheet."""


@dataclass(frozen=True)
class Matched:
    """Each photo of a folder with its row, and what did not fit."""

    pairs: tuple[tuple[Path, SheetRow], ...]
    messages: tuple[str, ...]
    """Rows without a photo and photos without a row, in words."""


def default_row(photo_name: str) -> SheetRow:
    """What is assumed of a photo that has no row: the wall is named like its file."""
    return SheetRow(photo=photo_name, wall=Path(photo_name).stem)


def read_sheet(path: Path) -> tuple[SheetRow, ...]:
    """The rows of a field sheet.

    Comma, semicolon or tab separated; UTF-8 with or without byte order mark,
    UTF-16 with one, or Windows-1252.

    Raises
    ------
    BadSheet : with the row and column of the cell that cannot be understood.
    """
    records = _records(path)
    if not records or not any(cell.strip() for cell in records[0]):
        raise BadSheet(f"{path.name}: the sheet is empty.", "Its first row names the columns, photo first.")
    columns = _columns(records[0], path.name)
    rows = []
    for number, record in enumerate(records[1:], start=2):
        if any(cell.strip() for cell in record):
            rows.append(_row(record, columns, number, path.name))
    _check_unique(rows, path.name)
    return tuple(rows)


def match_photos(rows: Sequence[SheetRow], photos: Iterable[Path]) -> Matched:
    """Give each photo of one folder its row of the sheet, in the order of the photos.

    File names are compared without regard to upper and lower case, and a row
    may leave out the file's ending. A photo without a row gets ``default_row``.

    Raises
    ------
    BadSheet : two photos would have the same row or the same wall name.
    """
    photos = list(photos)
    if not rows:
        pairs = [(photo, default_row(photo.name)) for photo in photos]
        _check_walls(pairs)
        return Matched(tuple(pairs), ())
    row_of: dict[Path, SheetRow] = {}
    messages = []
    for row in rows:
        named = [photo for photo in photos if _same(photo.name, row.photo)]
        named = named or [photo for photo in photos if _same(photo.stem, row.photo)]
        if len(named) > 1:
            raise BadSheet(
                f"Row {row.row}: {row.photo} could be {' or '.join(photo.name for photo in named)}.",
                "Write the file's whole name.",
            )
        if not named:
            near = _nearest(row.photo, [photo.name for photo in photos])
            messages.append(f"Row {row.row}: there is no photo {row.photo} in the folder.{near}")
        elif named[0] in row_of:
            raise BadSheet(
                f"Rows {row_of[named[0]].row} and {row.row} both speak of {named[0].name}.", "Keep one."
            )
        else:
            row_of[named[0]] = row
    pairs = [(photo, row_of.get(photo) or default_row(photo.name)) for photo in photos]
    messages += [
        f"{photo.name} has no row in the sheet; it is read without one."
        for photo in photos
        if photo not in row_of
    ]
    _check_walls(pairs)
    return Matched(tuple(pairs), tuple(messages))


def _records(path: Path) -> list[list[str]]:
    try:
        data = path.read_bytes()
    except OSError as error:
        raise BadSheet(f"{path}: cannot be opened ({error.strerror}).", "Check the name.") from error
    text = _text(data, path.name)
    header = text.lstrip("\r\n").split("\n", 1)[0]
    separator = max(",;\t", key=header.count)
    try:
        return list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
    except csv.Error as error:
        raise BadSheet(
            f"{path.name}: not a table ({error}).", "Save it as CSV from the spreadsheet."
        ) from error


def _text(data: bytes, name: str) -> str:
    """UTF-16 only with its mark; UTF-8 if it is valid; else what a spreadsheet on Windows writes."""
    encodings = ("utf-16",) if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252")
    for encoding in encodings:
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise BadSheet(f"{name}: not text that can be read.", "Save it as CSV in UTF-8.")


def _columns(header: list[str], name: str) -> list[str]:
    """The column name at each place, "" for a nameless one."""
    columns = []
    for place, cell in enumerate(header, start=1):
        column = "_".join(cell.strip().lower().replace("-", " ").replace("_", " ").split())
        if column and column not in COLUMNS:
            near = _nearest(column, COLUMNS) or f" Known: {', '.join(COLUMNS)}."
            raise BadSheet(f"{name}: column {place}, {cell.strip()!r}, is not a column of the sheet.{near}")
        if column and column in columns:
            raise BadSheet(f"{name}: there are two columns {column}.", "Keep one.")
        columns.append(column)
    if "photo" not in columns:
        raise BadSheet(f"{name}: there is no column photo.", "Its first row names the columns, photo first.")
    return columns


def _row(record: list[str], columns: list[str], number: int, name: str) -> SheetRow:
    values: dict[str, Any] = {}
    for place, cell in enumerate(record):
        cell = cell.strip()
        if not cell:
            continue
        column = columns[place] if place < len(columns) else ""
        if not column:
            raise BadSheet(
                f"{name}: row {number} has {cell!r} under no column.",
                "Put a cell with a comma in it in quotes, or separate its parts by semicolons.",
            )
        try:
            value = COLUMNS[column](cell)
        except BadRequest as error:
            raise BadSheet(f"{name}: row {number}, {column}: {error.cause}", error.remedy) from error
        values.update(value if column == "scale" else {column: value})
    if "photo" not in values:
        raise BadSheet(f"{name}: row {number}, photo: it is blank.", "Write the file name of the photo.")
    values.setdefault("wall", default_row(values["photo"]).wall)
    return SheetRow(**values, row=number)


def _check_unique(rows: Sequence[SheetRow], name: str) -> None:
    for column in ("photo", "wall"):
        seen: dict[str, int | None] = {}
        for row in rows:
            value = getattr(row, column)
            if _plain(value) in seen:
                raise BadSheet(
                    f"{name}: rows {seen[_plain(value)]} and {row.row} have the same {column}, {value}.",
                    "Each photo has one row, and each wall its own name.",
                )
            seen[_plain(value)] = row.row


def _check_walls(pairs: Iterable[tuple[Path, SheetRow]]) -> None:
    seen: dict[str, Path] = {}
    for photo, row in pairs:
        other = seen.setdefault(_plain(row.wall), photo)
        if other is not photo:
            raise BadSheet(
                f"{other.name} and {photo.name} would both be wall {row.wall}.",
                "Give each its own wall name in the sheet, or take one out of the folder.",
            )


def _photo(cell: str) -> str:
    if "/" in cell or "\\" in cell:
        raise BadSheet(f"{cell!r} names a folder.", "Write the photo's file name only, beside the sheet.")
    return cell


def _wall(cell: str) -> str:
    if NOT_IN_A_NAME & set(cell) or cell.startswith("."):
        raise BadSheet(f"{cell!r} cannot name files.", 'Leave out / \\ : * ? " < > | and a dot in front.')
    return cell


def _scale(cell: str) -> dict[str, Any]:
    """``card``, or with its own marker side ``card:2.0``."""
    word, _, unit = (part.strip() for part in cell.partition(":"))
    scale = _word(get_args(ScaleWord))(word)
    if not unit:
        return {"scale": scale}
    if scale not in SCALES_WITH_UNIT:
        raise BadSheet(f"{scale} takes no length.", "Only card:2.0 (marker side) and staff:1.0 (band) do.")
    return {"scale": scale, "scale_unit_in": _above_zero(unit)}


def _word(known: Sequence[str]) -> Callable[[str], str]:
    def parse(cell: str) -> str:
        if cell.lower() not in known:
            near = _nearest(cell.lower(), known) or f" Known: {', '.join(known)}."
            raise BadSheet(f"{cell!r} is not known.{near}")
        return cell.lower()

    return parse


def _layers(cell: str) -> tuple[RecordedLayer, ...]:
    """``disk 6.0; A/B 13.0 in; pan 15 cm``, in order of depth."""
    layers = [_layer(part.strip()) for part in cell.split(";") if part.strip()]
    return tuple(sorted(layers, key=lambda layer: layer.depth_in))


def _layer(text: str) -> RecordedLayer:
    """A name, then a depth. The shortest name that leaves a length, so that ``Bt1 13 1/2 in`` reads right."""
    words = text.split()
    for count in range(1, len(words)):
        try:
            depth_in = _above_zero(" ".join(words[count:]))
        except BadRequest:
            continue
        return RecordedLayer(" ".join(words[:count]).rstrip(":=,"), depth_in)
    raise BadSheet(
        f"{text!r} is not a layer.",
        "Write a name and a depth for each, with semicolons between: disk 6; A/B 13.",
    )


def _places(cell: str) -> tuple[float, ...]:
    return tuple(sorted(length_in(part) for part in cell.split(";") if part.strip()))


def _above_zero(cell: str) -> float:
    inches = length_in(cell)
    if inches <= 0:
        raise BadSheet(f"{cell!r} is not above 0.", "Write depths and lengths as positive numbers.")
    return inches


def _not_negative(cell: str) -> float:
    inches = length_in(cell)
    if inches < 0:
        raise BadSheet(f"{cell!r} is below 0.", "Write how far it stands in front of the wall.")
    return inches


def _plain(name: str) -> str:
    """A name as file systems that ignore case and spelling of accents compare it."""
    return unicodedata.normalize("NFC", name).casefold()


def _same(one: str, other: str) -> bool:
    return _plain(one) == _plain(other)


def _nearest(word: str, known: Iterable[str]) -> str:
    near = get_close_matches(word, list(known), n=1, cutoff=0.5)
    return f" Did you mean {near[0]}?" if near else ""


# Every column of the sheet and how its cells are read, in the order of the blank sheet.
COLUMNS: dict[str, Callable[[str], Any]] = {
    "photo": _photo,
    "wall": _wall,
    "pit": str,
    "treatment": str,
    "date": str,
    "crop": str,
    "stage": str,
    "scale": _scale,
    "layers": _layers,
    "tool_depth_in": _above_zero,
    "shank_spacing_in": _above_zero,
    "shanks_at_in": _places,
    "pit_depth_in": _above_zero,
    "notes": str,
    "standoff_in": _not_negative,
    "level": _word(get_args(LevelWord)),
    "lens": str,
}

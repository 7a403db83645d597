"""Which row of the sheet speaks of which photo."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from rootread.errors import BadSheet
from rootread.fieldsheet.names import nearest, plain
from rootread.fieldsheet.types import SheetRow, default_row


@dataclass(frozen=True)
class Matched:
    """Each photo of a folder with its row, and what did not fit."""

    pairs: tuple[tuple[Path, SheetRow], ...]
    messages: tuple[str, ...]
    """Rows without a photo and photos without a row, in words."""


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
            near = nearest(row.photo, [photo.name for photo in photos])
            messages.append(f"Row {row.row}: there is no photo {row.photo} in the folder. {near}".strip())
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


def _check_walls(pairs: Iterable[tuple[Path, SheetRow]]) -> None:
    seen: dict[str, Path] = {}
    for photo, row in pairs:
        other = seen.setdefault(plain(row.wall), photo)
        if other is not photo:
            raise BadSheet(
                f"{other.name} and {photo.name} would both be wall {row.wall}.",
                "Give each its own wall name in the sheet, or take one out of the folder.",
            )


def _same(one: str, other: str) -> bool:
    return plain(one) == plain(other)

"""Which row of the sheet speaks of which photo."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from rootread.errors import BadSheet
from rootread.fieldsheet.names import listing, nearest_of, plain
from rootread.fieldsheet.types import SheetRow, default_row
from rootread.text import one_line

MOST_NAMED = 5
"""Of rows without a photo, and of photos without a row: a sheet of another folder has hundreds."""


@dataclass(frozen=True)
class Matched:
    """Each photo of a folder with its row, and what did not fit."""

    pairs: tuple[tuple[Path, SheetRow], ...]
    messages: tuple[str, ...]
    """Rows without a photo and photos without a row, in words."""


def match_photos(
    rows: Sequence[SheetRow],
    photos: Iterable[Path],
    folders: Mapping[Path, str] | None = None,
    sheet: str = "sheet.csv",
) -> Matched:
    """Give each photo its row of the sheet, in the order of the photos.

    File names are compared without regard to upper and lower case, and a row
    may leave out the file's ending. A photo without a row gets ``default_row``.

    Parameters
    ----------
    rows : of one sheet.
    photos : that it speaks of.
    folders : the folder of each photo below the run's own, such as ``pit 3``; a wall that nobody
        named is then called ``pit 3-IMG_2``, for cameras use the same names again and again.
    sheet : where the rows come from, in words.

    Raises
    ------
    BadSheet : two photos would have the same row or the same wall name.
    """
    photos, folders = list(photos), folders or {}

    def shown(photo: Path) -> str:
        return "/".join(part for part in (folders.get(photo, ""), photo.name) if part)

    by_name, by_stem = _by(photos, lambda photo: photo.name), _by(photos, lambda photo: photo.stem)
    row_of: dict[Path, SheetRow] = {}
    without_photo = []
    for row in rows:
        named = by_name.get(plain(row.photo)) or by_stem.get(plain(row.photo), [])
        if len(named) > 1:
            raise BadSheet(
                f"{sheet}: row {row.row}: {row.photo} could be "
                f"{' or '.join(shown(photo) for photo in named)}.",
                "Write the file's whole name, or put a sheet beside the photos of each folder.",
            )
        if not named:
            without_photo.append(row)
        elif named[0] in row_of:
            raise BadSheet(
                f"{sheet}: rows {row_of[named[0]].row} and {row.row} both speak of {shown(named[0])}.",
                "Keep one.",
            )
        else:
            row_of[named[0]] = row
    pairs = [
        (photo, _named(row_of.get(photo) or default_row(photo.name), folders.get(photo, "")))
        for photo in photos
    ]
    without_row = [photo for photo in photos if photo not in row_of] if rows else []
    messages = [
        *_told_of_absent(without_photo, without_row, sheet),
        *_told_of_unlisted([shown(photo) for photo in without_row], sheet),
    ]
    _check_walls(pairs, shown)
    return Matched(tuple(pairs), tuple(messages))


def _named(row: SheetRow, folder: str) -> SheetRow:
    """The row with its wall's name; one that is but the photo's gets the folder's before it."""
    if not folder or row.wall != default_row(row.photo).wall:
        return row
    return replace(row, wall="-".join([*folder.split("/"), row.wall]))


def _check_walls(pairs: Iterable[tuple[Path, SheetRow]], shown: Callable[[Path], str]) -> None:
    seen: dict[str, Path] = {}
    for photo, row in pairs:
        other = seen.setdefault(plain(row.wall), photo)
        if other is not photo:
            raise BadSheet(
                f"{shown(other)} and {shown(photo)} would both be wall {row.wall}.",
                "Give each its own wall name in the sheet, or take one out of the folder.",
            )


def _by(photos: Iterable[Path], name_of: Callable[[Path], str]) -> dict[str, list[Path]]:
    """The photos that go by each name."""
    found: dict[str, list[Path]] = {}
    for photo in photos:
        found.setdefault(plain(name_of(photo)), []).append(photo)
    return found


def _told_of_absent(rows: Sequence[SheetRow], without_row: Sequence[Path], sheet: str) -> list[str]:
    """Rows whose photo is not there, each with the photo it may mean: one that no other row speaks of."""
    by_stem = {photo.stem: photo.name for photo in without_row}
    told = []
    for row in rows[:MOST_NAMED]:
        # Photos have their endings in common, whatever they show.
        likely = by_stem.get(nearest_of(Path(row.photo).stem, by_stem), "")
        by_stem = {stem: name for stem, name in by_stem.items() if name != likely}
        told.append((row.row, one_line(row.photo, 80), likely))
    if len(told) == 1:
        ((number, name, likely),) = told
        meant = f" Did you mean {likely}?" if likely else ""
        return [f"{sheet}: row {number}: there is no photo {name} in the folder.{meant}"]
    listed = [
        f"row {number} {name}" + (f" (perhaps {likely})" if likely else "") for number, name, likely in told
    ]
    lack = f"{sheet}: {len(rows)} rows have no photo in the folder:"
    return [f"{lack} {listing(listed, len(rows))}."] if rows else []


def _told_of_unlisted(photos: Sequence[str], sheet: str) -> list[str]:
    if not photos:
        return []
    read = "it is read without one" if len(photos) == 1 else "they are read without one"
    return [f"{sheet}: there is no row for {listing(photos[:MOST_NAMED], len(photos))}; {read}."]

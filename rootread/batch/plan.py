"""Which walls a run has to read: photos found, matched with their sheet and marks."""

import hashlib
import json
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path

from rootread import infile
from rootread.batch.program import program
from rootread.batch.twice import told_of_copies
from rootread.errors import BadRequest
from rootread.fieldsheet import (
    CONE_NAME,
    Alike,
    SheetRow,
    alike_names,
    cone_of,
    default_row,
    match_photos,
    read_sheet,
    told_of_strangers,
)
from rootread.fieldsheet.alike import REMEDY as ALIKE_REMEDY
from rootread.fieldsheet.names import plain
from rootread.marks import marks_path
from rootread.photo import PHOTO_ENDINGS
from rootread.plane.lens import profile_files
from rootread.report.faces import STAND_IN, cannot_be_drawn
from rootread.report.words import sheet_lines
from rootread.settings import Settings, settings_toml
from rootread.store import file_stem, is_here, on_disk, place
from rootread.text import is_showable, one_line

SHEET_NAME = "sheet.csv"
LARGEST_MB = 1000.0
"""Nothing larger is read by any stage."""
RESULT_SIGNS = ("walls.csv", "records")
"""A folder with one of these holds results, so its pictures are no photos of walls."""
RESULT_FOLDERS = ("pictures", "records", "traces", "exports")
"""What results hold; where they lie among the photos, these are left out."""
RAW_ENDINGS = {".arw", ".cr2", ".cr3", ".dng", ".nef", ".orf", ".raf", ".rw2"}
"""Of photos as the sensor gave them, which are not read."""
LIKE_A_SHEET = re.compile(r"(field.?)?sheet\.(csv(\.csv|\.txt)?|tsv|txt|xlsx?|ods|numbers)")
"""Names of sheets that are not read as such: the blank sheet's own, endings that a system hides, capitals, a
spreadsheet's."""
MOST_TOLD = 5
"""Of files that are left out, and of names that cannot be drawn."""


@dataclass(frozen=True)
class WallJob:
    """One wall to read."""

    photo: Path
    row: SheetRow
    marks: Path | None

    def key(self, settings: Settings) -> str:
        """Hash of everything the result depends on: when it is the same, so is the result."""
        return self._hash(settings)

    def roots_key(self, settings: Settings) -> str:
        """Hash of everything the roots depend on: settings of what comes after them have no say."""
        return self._hash(Settings(settings.photo, settings.plane, settings.find, settings.follow))

    def _hash(self, settings: Settings) -> str:
        # Which row of the spreadsheet it was says nothing of the wall: a row put in above moves all below.
        said = asdict(replace(self.row, row=None))
        parts = [
            program().encode(),
            settings_toml(settings).encode(),
            json.dumps(said, sort_keys=True).encode(),
            _content(self.photo),
            _content(self.marks) if self.marks else b"",
            *(_content(profile) for profile in (profile_files(self.photo) if is_here(self.photo) else ())),
        ]
        digest = hashlib.sha256()
        for part in parts:
            digest.update(len(part).to_bytes(8, "big") + part)
        return digest.hexdigest()


@dataclass(frozen=True)
class Plan:
    """The walls of a run, in the order of the tables, and what the sheet and the photos disagree on."""

    jobs: tuple[WallJob, ...]
    messages: tuple[str, ...]
    alike: tuple[Alike, ...] = ()
    """Names of pits and of treatments that may have been meant to be one."""

    @property
    def told(self) -> tuple[str, ...]:
        """The messages, and what is asked of names that are alike."""
        return (*self.messages, *(f"{alike.words} {ALIKE_REMEDY}" for alike in self.alike))


@dataclass
class _Folder:
    """A folder with a sheet, or the topmost one, and the photos that are under its sheet."""

    path: Path
    photos: dict[Path, str] = field(default_factory=dict)
    """Each with the folder it lies in as seen from the topmost, ``pit 3``; blank for the topmost itself."""


def plan_walls(places: Sequence[str | Path], out: str | Path | None = None) -> Plan:
    """Photos named one by one or by folder, each with its row of the sheet that lies beside it.

    Folders within a folder are gone into. One without a sheet of its own is
    under the sheet of the folder above it. A wall that nobody named, of a photo
    in a folder beneath, is called after both: ``pit 3-IMG_2``.

    Parameters
    ----------
    places : photos and folders, as paths or as addresses such as ``s3://bucket/field``.
    out : where results go; nothing in it is taken for a photo.

    Raises
    ------
    BadRequest : a place does not exist, holds no photo, or two walls share a name.
    """
    jobs: list[WallJob] = []
    messages: list[str] = []
    for given in places:
        with _reaching(given):
            path = place(given)
            if path.is_dir():
                found, said = _walls_of_folder(path, place(out) if out else None)
            else:
                found, said = _wall_of_photo(path)
        jobs += found
        messages += said
    unique = {str(job.photo): job for job in jobs}
    named: dict[str, Path] = {}
    for job in unique.values():
        other = named.setdefault(plain(file_stem(job.row.wall)), job.photo)
        if other != job.photo:
            raise BadRequest(
                f"{other} and {job.photo} would both be wall {job.row.wall}.",
                "Give each its own wall name in the sheet.",
            )
    rows = [job.row for job in unique.values()]
    messages += told_of_copies([job.photo for job in unique.values()])
    return Plan(tuple(unique.values()), (*messages, *_not_drawn(rows)), alike_names(rows))


def _not_drawn(rows: Sequence[SheetRow]) -> list[str]:
    """What to know where this machine's fonts lack letters of names that pictures show."""
    shown = (
        words
        for row in rows
        for words in (row.wall, *sheet_lines(row), *(layer.name for layer in row.layers))
    )
    names = cannot_be_drawn(shown)
    if not names:
        return []
    named = ", ".join(one_line(name, 40) for name in names[:MOST_TOLD])
    more = f" and {len(names) - MOST_TOLD} more" if len(names) > MOST_TOLD else ""
    return [
        f"No font on this machine has all letters of {named}{more}: pictures show {STAND_IN} for "
        "those it lacks, tables and pages have them. Install a font of that script, then grade into a fresh "
        "folder."
    ]


@contextmanager
def _reaching(given: str | Path) -> Iterator[None]:
    try:
        yield
    except BadRequest:
        raise
    except Exception as error:
        if isinstance(given, Path) or "://" not in given:
            raise
        # Every kind of store has its own errors: no such bucket, no leave to read it, no network.
        raise BadRequest(
            f"{given} cannot be reached ({error}).", "Check the address and the login."
        ) from error


def _walls_of_folder(top: Path, out: Path | None) -> tuple[list[WallJob], list[str]]:
    jobs: list[WallJob] = []
    messages: list[str] = []
    for folder in _sheets_and_photos(top, out):
        odd = [photo for photo in folder.photos if not is_showable(photo.name)]
        messages += [
            f"{_in_words(photo)} is left out: its name is not plain text. Rename it." for photo in odd
        ]
        photos = {photo: where for photo, where in folder.photos.items() if photo not in odd}
        sheet = (folder.path / SHEET_NAME).relative_to(top).as_posix()
        messages += _left_out(folder.path)
        matched = match_photos(_rows_beside(folder.path, sheet), photos, photos, sheet)
        jobs += [_job(photo, row, top) for photo, row in matched.pairs]
        messages += matched.messages
    messages += _strange_cones(jobs, top)
    if not jobs:
        known = f"Known endings: {', '.join(sorted(PHOTO_ENDINGS))}."
        raise BadRequest(f"{top} holds no photo.", " ".join([*messages, known]))
    return jobs, messages


def _left_out(folder: Path) -> list[str]:
    """Files that a person may think are read: raw photos alone in their kind, and sheets of other names."""
    entries = sorted(folder.iterdir(), key=lambda entry: entry.name)
    read = {plain(entry.stem) for entry in entries if entry.suffix.lower() in PHOTO_ENDINGS}
    raw = [
        entry for entry in entries if entry.suffix.lower() in RAW_ENDINGS and plain(entry.stem) not in read
    ]
    told = []
    if raw:
        named = ", ".join(_in_words(photo) for photo in raw[:MOST_TOLD])
        more = f" and {len(raw) - MOST_TOLD} more" if len(raw) > MOST_TOLD else ""
        told.append(f"{named}{more}: raw photos are not read. Save them as JPEG or TIFF.")
    if all(entry.name != SHEET_NAME for entry in entries):
        told += [
            f"{_in_words(entry)} is not read as the sheet. Save it as CSV, named {SHEET_NAME}."
            for entry in entries
            if LIKE_A_SHEET.fullmatch(plain(entry.name))
        ]
    return told


def _sheets_and_photos(top: Path, out: Path | None) -> list[_Folder]:
    """The topmost folder, and each below it that has a sheet, with their photos, in the order of names."""
    found = [_Folder(top)]

    def gather(path: Path, under: _Folder, where: str) -> None:
        entries = sorted(path.iterdir(), key=lambda entry: entry.name)
        names = {entry.name for entry in entries}
        holds_results = bool(names & set(RESULT_SIGNS))
        if path != top and holds_results:
            return
        if path != top and SHEET_NAME in names:
            under = _Folder(path)
            found.append(under)
        folders = []
        for entry in entries:
            if entry.name.startswith(".") or (holds_results and entry.name in RESULT_FOLDERS):
                continue
            if entry.suffix.lower() in PHOTO_ENDINGS and entry.is_file():
                under.photos[entry] = where
            elif entry != out and entry.is_dir() and not entry.is_symlink():
                folders.append(entry)
        for folder in folders:
            gather(folder, under, f"{where}/{folder.name}" if where else folder.name)

    gather(top, found[0], "")
    return found


def _wall_of_photo(photo: Path) -> tuple[list[WallJob], list[str]]:
    infile.refuse_no_file(photo, "Name a photo, or a folder of photos.")
    if photo.suffix.lower() in (".csv", ".json", ".html", ".pdf", ".toml"):
        raise BadRequest(f"{photo.name} is no photo.", "Name photos, or the folder in which they lie.")
    if not is_showable(photo.name):
        raise BadRequest(f"The name of {_in_words(photo)} is not plain text.", "Rename it.")
    # The other rows of the sheet are about other photos: their absence here says nothing.
    pairs = match_photos(_rows_beside(photo.parent, SHEET_NAME), [photo]).pairs
    row = pairs[0][1] if pairs else default_row(photo.name)
    return [_job(photo, row, photo.parent)], []


def _in_words(photo: Path) -> str:
    return one_line(photo.name, 80) or "A photo"


def _rows_beside(folder: Path, name: str) -> tuple[SheetRow, ...]:
    """The rows of a folder's sheet, which errors call by ``name``."""
    sheet = folder / SHEET_NAME
    if not sheet.exists():
        return ()
    with on_disk(sheet) as file:
        return read_sheet(file, name)


def _job(photo: Path, row: SheetRow, top: Path) -> WallJob:
    beside = _name_beside(photo, row)
    found = [marks_path(photo, name) for name in dict.fromkeys((row.wall, beside))]
    row = _with_cone(photo, row, beside, top)
    return WallJob(photo, row, next((marks for marks in found if marks.exists()), None))


def _name_beside(photo: Path, row: SheetRow) -> str:
    """What marks and cone readings call the wall; its name in the run may have the folder's before it."""
    return photo.stem if row.wall.endswith(f"-{photo.stem}") else row.wall


def _strange_cones(jobs: Sequence[WallJob], top: Path) -> list[str]:
    """What to know of cone readings whose walls do not lie beside them."""
    walls: dict[Path, list[str]] = {}
    for job in jobs:
        walls.setdefault(job.photo.parent, []).append(_name_beside(job.photo, job.row))
    told: list[str] = []
    for folder, names in walls.items():
        cone = folder / CONE_NAME
        if cone.exists():
            with on_disk(cone) as file:
                told += told_of_strangers(file, names, cone.relative_to(top).as_posix())
    return told


def _with_cone(photo: Path, row: SheetRow, name: str, top: Path) -> SheetRow:
    """The row with the cone readings that lie beside the photo."""
    cone = photo.parent / CONE_NAME
    if not cone.exists():
        return row
    others = [other for other in photo.parent.iterdir() if other.suffix.lower() in PHOTO_ENDINGS]
    with on_disk(cone) as file:
        return replace(row, cone=cone_of(file, name, len(others) == 1, cone.relative_to(top).as_posix()))


def _content(path: Path) -> bytes:
    try:
        return hashlib.sha256(infile.content(path, LARGEST_MB)).digest()
    except OSError:
        # The stage that reads the file says what is wrong with it.
        return b"unreadable"

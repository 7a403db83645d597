"""Which walls a run has to read: photos found, matched with their sheet and marks."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from importlib.metadata import version
from pathlib import Path

from rootread.errors import BadRequest
from rootread.fieldsheet import SheetRow, default_row, match_photos, read_sheet
from rootread.marks import marks_path
from rootread.plane.lens import profile_files
from rootread.settings import Settings, settings_toml

PHOTO_ENDINGS = {".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif"}
SHEET_NAME = "sheet.csv"


@dataclass(frozen=True)
class WallJob:
    """One wall to read."""

    photo: Path
    row: SheetRow
    marks: Path | None

    def key(self, settings: Settings) -> str:
        """Hash of everything the reading depends on: when it is the same, so is the result."""
        parts = [
            version("rootread").encode(),
            settings_toml(settings).encode(),
            json.dumps(asdict(self.row), sort_keys=True).encode(),
            _content(self.photo),
            _content(self.marks) if self.marks else b"",
            *(_content(profile) for profile in profile_files(self.photo)),
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


def plan_walls(places: Sequence[Path]) -> Plan:
    """Photos named one by one or by folder, each with its row of the sheet that lies beside it.

    Raises
    ------
    BadRequest : a place does not exist, holds no photo, or two walls share a name.
    """
    jobs: list[WallJob] = []
    messages: list[str] = []
    for place in places:
        found, said = _walls_of_folder(place) if place.is_dir() else _wall_of_photo(place)
        jobs += found
        messages += said
    named: dict[str, Path] = {}
    for job in jobs:
        other = named.setdefault(job.row.wall.casefold(), job.photo)
        if other != job.photo:
            raise BadRequest(
                f"{other} and {job.photo} would both be wall {job.row.wall}.",
                "Give each its own wall name in the sheet.",
            )
    unique = {job.photo: job for job in jobs}
    return Plan(tuple(unique.values()), tuple(messages))


def _walls_of_folder(folder: Path) -> tuple[list[WallJob], list[str]]:
    photos = sorted(p for p in folder.iterdir() if p.suffix.lower() in PHOTO_ENDINGS and p.is_file())
    if not photos:
        raise BadRequest(f"{folder} holds no photo.", f"Known endings: {', '.join(sorted(PHOTO_ENDINGS))}.")
    matched = match_photos(_rows_beside(folder), photos)
    return [_job(photo, row) for photo, row in matched.pairs], list(matched.messages)


def _wall_of_photo(photo: Path) -> tuple[list[WallJob], list[str]]:
    if not photo.exists():
        raise BadRequest(f"There is no file or folder {photo}.", "Check the name.")
    # The other rows of the sheet are about other photos: their absence here says nothing.
    pairs = match_photos(_rows_beside(photo.parent), [photo]).pairs
    row = pairs[0][1] if pairs else default_row(photo.name)
    return [_job(photo, row)], []


def _rows_beside(folder: Path) -> tuple[SheetRow, ...]:
    sheet = folder / SHEET_NAME
    return read_sheet(sheet) if sheet.exists() else ()


def _job(photo: Path, row: SheetRow) -> WallJob:
    marks = marks_path(photo, row.wall)
    return WallJob(photo, row, marks if marks.exists() else None)


def _content(path: Path) -> bytes:
    try:
        return hashlib.sha256(path.read_bytes()).digest()
    except OSError:
        # The stage that reads the file says what is wrong with it.
        return b"unreadable"

"""The folder on the desk: its photos, its sheet and its marks. Nothing outside it is read or written."""

import csv
import hashlib
import io
import tempfile
import threading
from collections.abc import Mapping
from pathlib import Path, PurePosixPath, PureWindowsPath

from rootread.batch import WallJob, plan_walls
from rootread.batch.plan import SHEET_NAME
from rootread.desk.cells import Sheet, with_rows
from rootread.errors import BadRequest, UnreadablePhoto
from rootread.fieldsheet import COLUMNS, read_sheet, sheet_cells
from rootread.fieldsheet.names import plain
from rootread.marks import marks_path
from rootread.photo import PHOTO_ENDINGS, holds_photos, read_photo
from rootread.settings import PhotoSettings
from rootread.store import file_stem, write_bytes


class Folder:
    """One folder of photos. ``lock`` guards what is looked at before it is written."""

    def __init__(self, path: Path, settings: PhotoSettings) -> None:
        if path.exists() and not path.is_dir():
            raise BadRequest(f"{path} is no folder.", "Name the folder in which the photos lie.")
        self.path = path.resolve()
        self.lock = threading.RLock()
        self._settings = settings
        self._read: tuple[tuple[int, int, int], tuple[list[str], list[list[str]]]] | None = None
        try:
            self.path.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise BadRequest(
                f"{path} cannot be opened ({error.strerror}).", "Name another folder."
            ) from error

    def jobs(self, out: Path) -> tuple[tuple[WallJob, ...], tuple[str, ...]]:
        """The walls, and what sheet and photos disagree on; nothing in ``out`` is taken for a photo.

        Raises
        ------
        BadRequest : the sheet has a mistake in it, or two walls share a name.
        """
        if not holds_photos(self.path):
            return (), ()
        plan = plan_walls([self.path], out)
        return plan.jobs, plan.told

    def add_photo(self, given_name: str, content: bytes) -> Path:
        """Put a photo into the folder under a safe name of its own; whatever is there stays.

        Raises
        ------
        UnreadablePhoto : not a photo, or damaged, too small or too large; nothing is kept of it.
        """
        name = safe_photo_name(given_name)
        with tempfile.TemporaryDirectory(dir=self.path, prefix=".taking-in-") as draft:
            whole = Path(draft) / name
            whole.write_bytes(content)
            read_photo(whole, self._settings)
            # Two windows may add photos of one name at the same time.
            with self.lock:
                place = self._free(name, content)
                if not place.exists():
                    whole.replace(place)
        return place

    def _free(self, name: str, content: bytes) -> Path:
        """The place of a new photo; that of the same photo where it is there already."""
        taken = {plain(p.name): p for p in self.path.iterdir()}
        stem, ending = Path(name).stem, Path(name).suffix
        number = 1
        while plain(name) in taken:
            other = taken[plain(name)]
            if other.is_file() and not other.is_symlink() and other.read_bytes() == content:
                return other
            number += 1
            name = f"{stem}-{number}{ending}"
        return self.path / name

    @property
    def sheet_revision(self) -> str:
        """Names the content of the sheet's file, so that a page can tell whether it knows the latest."""
        path = self.path / SHEET_NAME
        return hashlib.sha256(path.read_bytes() if path.exists() else b"").hexdigest()[:16]

    def sheet(self) -> Sheet:
        """The sheet's cells; a row for each photo that has none, and the usual columns in their order.

        Raises
        ------
        BadSheet : no table, or a column that no sheet has.
        """
        columns, rows = self._cells()
        shown = [*[name for name in COLUMNS if name in columns or name in FIRST_COLUMNS]]
        filled = [[dict(zip(columns, row, strict=False)).get(name, "") for name in shown] for row in rows]
        named = {plain(row[0]) for row in filled} | {plain(Path(row[0]).stem) for row in filled}
        for photo in sorted(p for p in self.path.iterdir() if p.suffix.lower() in PHOTO_ENDINGS):
            if plain(photo.name) not in named and plain(photo.stem) not in named:
                filled.append([photo.name] + [""] * (len(shown) - 1))
        return Sheet(tuple(shown), tuple(tuple(row) for row in filled))

    def _cells(self) -> tuple[list[str], list[list[str]]]:
        """Columns and filled rows of the file; it is read again only once it has changed."""
        path = self.path / SHEET_NAME
        if not path.exists():
            return [], []
        about = path.stat()
        stamp = (about.st_mtime_ns, about.st_size, about.st_ino)
        if self._read is None or self._read[0] != stamp:
            columns, records = sheet_cells(path)
            filled = [record for record in records if any(cell.strip() for cell in record)]
            self._read = stamp, (columns, filled)
        return self._read[1]

    def write_sheet(self, sheet: Sheet) -> None:
        """Replace the sheet, once every cell of it can be read.

        Raises
        ------
        BadSheet : a cell cannot be understood; the old sheet stays.
        """
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow(sheet.columns)
        writer.writerows(
            row for row in sheet.rows if any(cell.strip() for cell in row[1:]) or row[:1] != ("",)
        )
        content = text.getvalue().encode("utf-8")
        with tempfile.TemporaryDirectory(dir=self.path, prefix=".sheet-") as draft:
            trial = Path(draft) / SHEET_NAME
            trial.write_bytes(content)
            read_sheet(trial)
        write_bytes(self.path / SHEET_NAME, content)

    def take_sheet(self, content: bytes, placed: Mapping[str, str]) -> list[str]:
        """Take the rows of a sheet that came with photos; returns what could not be taken, in words.

        Parameters
        ----------
        content : of the sheet's file.
        placed : names of photos as the sheet knows them, and the names they have in this folder.

        Raises
        ------
        BadSheet : no table, or a column that no sheet has; nothing of it is taken.
        """
        with tempfile.TemporaryDirectory(dir=self.path, prefix=".sheet-") as draft:
            came = Path(draft) / SHEET_NAME
            came.write_bytes(content)
            columns, records = sheet_cells(came)
        with self.lock:
            sheet, says = with_rows(self.sheet(), columns, records, placed)
            self.write_sheet(sheet)
        return says

    def marks_file(self, job: WallJob) -> Path:
        """Where a wall's marks lie, or will.

        Raises
        ------
        BadRequest : the name would lead out of the folder.
        """
        path = job.marks or marks_path(job.photo, job.row.wall)
        if not path.resolve().is_relative_to(self.path):
            raise BadRequest(f"The marks of {job.row.wall} would lie outside the folder.", "Rename the wall.")
        return path


FIRST_COLUMNS = (
    "photo",
    "wall",
    "pit",
    "treatment",
    "scale",
    "layers",
    "tool_depth_in",
    "shank_spacing_in",
    "shanks_at_in",
    "pit_depth_in",
    "notes",
)
"""Columns that the table always shows; others where the sheet has them."""


def safe_photo_name(given: str) -> str:
    """The file's own name without any folder, as a name that stays in its folder on every system.

    Raises
    ------
    UnreadablePhoto : its ending is not one of a photo.
    """
    last = PureWindowsPath(PurePosixPath(given).name).name
    stem, ending = Path(last).stem, Path(last).suffix.lower()
    if ending not in PHOTO_ENDINGS:
        known = ", ".join(sorted(PHOTO_ENDINGS))
        raise UnreadablePhoto(f"{last or 'That'} is not named like a photo.", f"Known endings: {known}.")
    return file_stem(stem)[:80] + ending

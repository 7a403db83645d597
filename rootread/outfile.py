"""Where a command is told to write, looked at before it reads anything."""

import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypeVar

from rootread.errors import BadRequest
from rootread.store import is_here, place

Out = TypeVar("Out", str, Path, str | None, Path | None)

FILE_ENDINGS = (".csv", ".html", ".jpg", ".json", ".parquet", ".pdf", ".png", ".svg", ".toml", ".txt")
"""Of files that are written or might be asked for: a folder is hardly meant by such a name."""
_SCHEME = re.compile(r"[a-z][a-z0-9+.-]+:", re.I)
"""Of an address; one letter alone is a drive."""


def out_folder(out: Out) -> Out:
    """The folder or address to write into, as it was given; None where none was.

    Raises
    ------
    BadRequest : a file is in its way, or it is named like one; or it is an address, and the
        command takes only a ``Path``.
    """
    _check_here(out)
    if out is not None and "://" not in str(out):
        _check_folders(out, Path(out), *Path(out).parents)
        if Path(out).suffix.lower() in FILE_ENDINGS and not Path(out).exists():
            raise BadRequest(f"--out {out} is named like a file.", "Name a folder to write into.")
    return out


def out_file(ending: str) -> Callable[[Path], Path]:
    """What lets pass a file to write, named with this ending (such as ``.png``).

    The function that is returned raises ``BadRequest`` on another ending, and on
    a folder where a file should be or the other way round.
    """

    def check(out: Path) -> Path:
        _check_here(out)
        if out.is_dir():
            raise BadRequest(f"--out {out} is a folder.", f"Name a file in it, such as {out / 'new'}{ending}")
        if out.suffix.lower() != ending:
            remedy = f"Write --out {out.with_suffix(ending)}"
            raise BadRequest(f"--out {out} does not end in {ending}.", remedy)
        _check_folders(out, *out.parents)
        return out

    return check


def beside_no_photo(places: Sequence[str], out: str) -> None:
    """Refuse to write among the photos: the next run would take the pictures of results for walls.

    Raises
    ------
    BadRequest : ``out`` is one of the folders that photos are read from.
    """
    if _is_one_of(places, out):
        raise BadRequest(f"--out {out} is the folder of the photos.", f"Write --out {place(out) / 'results'}")


def beside_no_tables(folders: Sequence[str], out: str) -> None:
    """Refuse to write a season's tables over those that they are made of: their columns are others.

    Raises
    ------
    BadRequest : ``out`` is one of the folders of results that are read.
    """
    if _is_one_of(folders, out):
        remedy = f"Write --out {place(out) / 'season'}"
        raise BadRequest(f"--out {out} is a folder of the results to be put together.", remedy)


def _is_one_of(places: Sequence[str], out: str) -> bool:
    """Whether ``out`` is a folder that is read from, however it is written."""
    target = place(out)
    for given in places:
        path = place(given)
        # Links in a circle lead nowhere; they are no folder, and are told elsewhere.
        here = is_here(path) and is_here(target) and path.is_dir() and target.is_dir()
        if path.samefile(target) if here else path == target and path.is_dir():
            return True
    return False


def _check_here(out: str | Path | None) -> None:
    """A path has lost one slash of an address, s3://pits, and would make a folder ``s3:``."""
    if isinstance(out, Path) and _SCHEME.fullmatch(next(iter(out.parts), "")):
        address = str(out).replace(":", ":/", 1)
        remedy = "This command writes to this machine's own disk: choose a place there."
        raise BadRequest(f"--out {address} is an address.", remedy)


def _check_folders(out: str | Path, *folders: Path) -> None:
    for folder in folders:
        if folder.exists() and not folder.is_dir():
            raise BadRequest(f"--out {out}: {folder} is a file, not a folder.", "Choose another --out.")

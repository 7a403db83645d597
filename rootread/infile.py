"""Reading a file that a person pointed at, which may be anything."""

import errno
import os
import stat
from pathlib import Path

from rootread.errors import BadRequest


def refuse_no_file(path: Path, remedy: str) -> None:
    """Refuse what a person named if it is not there, or is a folder, a pipe or a device.

    Raises
    ------
    BadRequest : with ``remedy`` where something else is there.
    """
    if not path.exists():
        raise BadRequest(f"There is no file or folder {path}.", "Check the name.")
    if not path.is_file():
        raise BadRequest(f"{path} is not an ordinary file.", remedy)


def remedy(error: OSError, otherwise: str) -> str:
    """What to do about a file that could not be opened: ``otherwise``, unless it is there and kept shut.

    Spreadsheets keep what they show shut against others, on some systems.
    """
    if isinstance(error, PermissionError):
        return "Close it in other programs, and see to it that you may read it."
    return otherwise


def content(path: Path, most_mb: float) -> bytes:
    """The bytes of an ordinary file.

    A pipe or a device would keep the reader waiting, or never end.

    Raises
    ------
    OSError : missing, not readable, not an ordinary file, or larger than ``most_mb`` (10^6 bytes).
    """
    try:
        about = path.stat()
    except ValueError as error:  # a NUL in the name
        raise OSError(errno.EINVAL, "not a file name", str(path)) from error
    if stat.S_ISDIR(about.st_mode):
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    if not stat.S_ISREG(about.st_mode):
        raise OSError(errno.EINVAL, "Not an ordinary file", str(path))
    if about.st_size > most_mb * 1e6:
        raise OSError(errno.EFBIG, f"Larger than {most_mb:g} MB", str(path))
    return path.read_bytes()

"""Reading a file that a person pointed at, which may be anything."""

import errno
import os
import stat
from pathlib import Path


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

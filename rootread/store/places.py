"""Where photos lie and results go: a folder of this machine, or an address such as ``s3://bucket/folder``.

An address is served by fsspec through universal-pathlib, whose paths do what
``pathlib`` paths do; so the rest of the package sees a path either way.
"""

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import cast
from urllib.parse import urlsplit
from urllib.request import url2pathname

from rootread.errors import BadRequest


def place(address: str | Path) -> Path:
    """The path that an address or a file name means; ``file://`` is this machine.

    Raises
    ------
    BadRequest : such addresses are not known here.
    """
    if not isinstance(address, str) or "://" not in address:
        return Path(address) if isinstance(address, str) else address
    if address.startswith("file://"):
        return Path(url2pathname(urlsplit(address).path))
    try:
        from fsspec import get_filesystem_class
        from upath import UPath
    except ImportError as error:
        raise BadRequest(
            f"{address} needs {error.name}, which is not installed.", "Run: pip install 'rootread[cloud]'"
        ) from error
    try:
        # What a kind of store needs is asked for here, not where the first file of it is read or written.
        get_filesystem_class(urlsplit(address).scheme)
        # Not a pathlib.Path by type, yet it does all that is asked of one here.
        return cast(Path, UPath(address))
    except (ImportError, ValueError) as error:
        raise BadRequest(
            f"{address} cannot be used: {error}.",
            "Check it; what reads s3:// and gs:// comes with: pip install 'rootread[cloud]'",
        ) from error


def is_here(path: Path) -> bool:
    """Whether a path is on this machine's own disks (or shares that look so)."""
    return isinstance(path, Path)


@contextmanager
def on_disk(path: Path) -> Iterator[Path]:
    """A file of any place as a file of this machine, under its own name, for as long as it is needed."""
    if is_here(path):
        yield path
        return
    with tempfile.TemporaryDirectory(prefix="rootread-") as folder:
        copy = Path(folder) / path.name
        try:
            with path.open("rb") as source, copy.open("wb") as target:
                shutil.copyfileobj(source, target)
        except OSError:
            # Missing, then: the stage that reads the file says so.
            copy.unlink(missing_ok=True)
        yield copy

"""Writing files so that a reader, or an interrupted run, never meets half of one."""

import hashlib
import json
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

from rootread.store.places import is_here

RESERVED = '\\/:*?"<>|%'
"""Characters that some system gives a meaning in file names."""
LONGEST_STEM = 150
"""Bytes, which file systems count; with endings it stays below the 255 of the common ones."""
DEVICES = {"CON", "PRN", "AUX", "NUL", *(f"{port}{n}" for port in ("COM", "LPT") for n in range(1, 10))}
"""What Windows takes for a device, whatever ending follows."""
PART = ".part"
"""Ending of a file that is not whole yet."""


@contextmanager
def writing(path: Path) -> Iterator[IO[bytes]]:
    """A file to write piece by piece; it is in its place when all of it is there, or not at all.

    On a disk it is written beside its place and moved into it. An object
    store shows an object only once all of it has arrived.
    """
    if not is_here(path):
        with tempfile.TemporaryDirectory(prefix="rootread-") as folder:
            whole = Path(folder) / "whole"
            with whole.open("wb") as file:
                yield file
            # Of universal-pathlib: the file system behind a path, and the path's name there.
            path.fs.put_file(str(whole), path.path)  # type: ignore[attr-defined]
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        handle, beside = tempfile.mkstemp(dir=path.parent, prefix=f".{path.stem[:20]}-", suffix=PART)
    except OSError as error:
        # Of the file that was asked for, not of the part of it that nobody knows of.
        raise OSError(error.errno, error.strerror, str(path)) from error
    try:
        with os.fdopen(handle, "wb") as file:
            yield file
            # The name must not reach the disk before the content does, should the power fail.
            file.flush()
            os.fsync(file.fileno())
        Path(beside).chmod(0o644)
        Path(beside).replace(path)
    except BaseException:
        Path(beside).unlink(missing_ok=True)
        raise


def write_bytes(path: Path, content: bytes) -> None:
    """Write a whole file at once: it is the old one or the new one, never a part."""
    with writing(path) as file:
        file.write(content)


def write_json(path: Path, value: Any) -> None:
    """Write a value as compact JSON."""
    write_bytes(path, json.dumps(value, allow_nan=False, separators=(",", ":")).encode())


def remove_parts(out: Path, before: float) -> None:
    """Take away what killed runs left unfinished: parts last written to before a time."""
    if is_here(out):
        for part in out.rglob(f".*{PART}"):
            if part.stat().st_mtime < before:
                part.unlink(missing_ok=True)


def file_stem(wall: str) -> str:
    """The wall's name as a file name that stays inside its folder on every system."""
    stem = "".join(c if c.isprintable() and c not in RESERVED else f"%{ord(c):02X}" for c in wall)
    # A leading dot hides the file or climbs out of the folder; a trailing one is lost on some systems.
    stem = "%2E" + stem[1:] if stem.startswith(".") else stem
    if stem.split(".")[0].upper() in DEVICES:
        stem = f"%{ord(stem[0]):02X}{stem[1:]}"
    content = stem.encode()
    if len(content) > LONGEST_STEM:
        # Names that differ at their far end alone must stay different.
        head = content[: LONGEST_STEM - 9].decode(errors="ignore")
        stem = f"{head}~{hashlib.sha256(wall.encode()).hexdigest()[:8]}"
    return stem.rstrip(". ") or "wall"

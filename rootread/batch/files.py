"""Writing files so that a reader, or an interrupted run, never meets half of one."""

import json
import os
import tempfile
from pathlib import Path
from typing import Any

RESERVED = '\\/:*?"<>|%'
"""Characters that some system gives a meaning in file names."""


def write_bytes(path: Path, content: bytes) -> None:
    """Write beside the place and move into it: the file is the old one or the new one, never a part."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, beside = tempfile.mkstemp(dir=path.parent, prefix=f".{path.stem[:20]}-", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        Path(beside).chmod(0o644)
        Path(beside).replace(path)
    except BaseException:
        Path(beside).unlink(missing_ok=True)
        raise


def write_json(path: Path, value: Any) -> None:
    """Write a value as compact JSON."""
    write_bytes(path, json.dumps(value, allow_nan=False, separators=(",", ":")).encode())


def file_stem(wall: str) -> str:
    """The wall's name as a file name that stays inside its folder on every system."""
    stem = "".join(c if c.isprintable() and c not in RESERVED else f"%{ord(c):02X}" for c in wall)
    # A leading dot hides the file or climbs out of the folder; a trailing one is lost on some systems.
    stem = "%2E" + stem[1:] if stem.startswith(".") else stem
    return stem[:150].rstrip(". ") or "wall"

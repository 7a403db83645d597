"""The exports of a wall in a folder of results: ``exports/WALL.rsml`` and others."""

from contextlib import suppress
from pathlib import Path

from rootread.export import EXPORTS, exported
from rootread.settings import Settings
from rootread.store import file_stem, is_here, write_bytes
from rootread.wall import RefusedWall, Wall

FOLDER = "exports"


def write_exports(wall: Wall | RefusedWall, out: Path, settings: Settings) -> None:
    """Write what the settings ask for; take away what an earlier run left and this one does not make."""
    made = exported(wall, settings.report) if isinstance(wall, Wall) else {}
    for ending in EXPORTS:
        path = out / FOLDER / f"{file_stem(wall.name)}.{ending}"
        if ending in made:
            write_bytes(path, made[ending])
        else:
            path.unlink(missing_ok=True)


def remove_empty_folder(out: Path) -> None:
    """Take the folder away if no export is left in it. Once all walls are read: one may be writing there."""
    if is_here(out):
        with suppress(OSError):
            (out / FOLDER).rmdir()

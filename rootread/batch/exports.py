"""The exports of a wall in a folder of results: ``exports/WALL.rsml`` and others."""

from pathlib import Path

from rootread.export import EXPORTS, exported
from rootread.settings import Settings
from rootread.store import file_stem, write_bytes
from rootread.wall import RefusedWall, Wall


def write_exports(wall: Wall | RefusedWall, out: Path, settings: Settings) -> None:
    """Write what the settings ask for; take away what an earlier run left and this one does not make."""
    made = exported(wall, settings.report) if isinstance(wall, Wall) else {}
    for ending in EXPORTS:
        path = out / "exports" / f"{file_stem(wall.name)}.{ending}"
        if ending in made:
            write_bytes(path, made[ending])
        else:
            path.unlink(missing_ok=True)

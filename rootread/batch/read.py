"""Reading one wall of a run, in whichever process or machine that happens."""

import socket
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from rootread.batch.exports import write_exports
from rootread.batch.plan import WallJob
from rootread.batch.program import program
from rootread.batch.record import Record, kept_record, write_wall
from rootread.batch.roots import kept_roots, write_roots
from rootread.errors import BadRequest
from rootread.photo import Photo
from rootread.plane import WallPlane
from rootread.report import PlanePictures, draw_plane
from rootread.settings import Settings
from rootread.store import is_here, on_disk
from rootread.threads import begun, both
from rootread.wall import Beside, RefusedWall, Roots, Wall, read_or_refuse

AGAIN = ""
"""The key of a record that is never up to date, so that the next run tries again."""


def read_job(job: WallJob, out: Path, settings: Settings) -> Record:
    """Read one wall and write what comes out, unless it was read before and nothing has changed.

    Where nothing has changed that its roots depend on, they are not sought again.
    """
    with on_disk(job.photo) as photo:
        here = replace(job, photo=photo)
        key, name = here.key(settings), job.row.wall
        kept = kept_record(out, name, key)
        if kept:
            return kept
        drawn: list[Callable[[], PlanePictures]] = []

        def draw_beside(taken: Photo, plane: WallPlane) -> None:
            drawn.append(begun(lambda: draw_plane(taken, plane, settings)))

        wall: Wall | RefusedWall
        try:
            roots_key = here.roots_key(settings)
            roots = kept_roots(out, name, roots_key, settings)
            wall = _read(here, settings, roots, draw_beside)
            write_exports(wall, out, settings)

            def keep_roots() -> None:
                if isinstance(wall, Wall) and roots is None:
                    write_roots(wall, out, roots_key)

            record, _ = both(lambda: write_wall(wall, out, key, settings, *drawn), keep_roots)
            return record
        except OSError:
            # Of writing; what is wrong with a photo or with marks has been told as a refusal.
            raise
        except Exception as error:
            # One wall must not stop the thousand after it; that the program failed on it is said aloud.
            said = f"{type(error).__name__}: {error}".rstrip(": ")
            return write_wall(
                failed(job, f"The program failed on this photo ({said})."), out, AGAIN, settings
            )


def _read(job: WallJob, settings: Settings, roots: Roots | None, beside: Beside) -> Wall | RefusedWall:
    if job.marks is None:
        return read_or_refuse(job.photo, job.row, None, settings, roots, beside)
    with on_disk(job.marks) as marks:
        return read_or_refuse(job.photo, job.row, marks, settings, roots, beside)


def failed(job: WallJob, why: str) -> RefusedWall:
    """A wall on which the program itself, not the photo, is at fault."""
    remedy = "Run again; if it fails again, send the photo to the program's makers, and go on without it."
    return RefusedWall(job.row.wall, job.photo.name, job.row, why, remedy)


def read_elsewhere(job: WallJob, out: Path, settings: Settings, asking: str) -> Record:
    """``read_job`` on another machine, which must see the same files and run the same program.

    Raises
    ------
    BadRequest : it does not.
    """
    if program() != asking:
        raise BadRequest(
            f"{socket.gethostname()} runs another version of rootread, or of the libraries it computes with.",
            "Install the same on every worker.",
        )
    if is_here(job.photo) and not job.photo.exists():
        raise BadRequest(
            f"{socket.gethostname()} does not see {job.photo}.",
            "Use a disk that all workers share, or an address such as s3://bucket/folder.",
        )
    return read_job(job, out, settings)

"""The desk itself: the folder's walls, the queue of what is to be read, and the report."""

import threading
import time
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import asdict
from pathlib import Path
from typing import Any

from rootread.batch import WallJob, grade_walls, plan_walls
from rootread.desk.cells import Sheet, cell_faults
from rootread.desk.folder import Folder
from rootread.desk.pictures import THUMB_PX_PER_IN, FlatPicture, Pyramid, flat_picture
from rootread.desk.renamed import finish_moves, move_marks
from rootread.desk.stages import Seen
from rootread.desk.typed import as_shown, as_written, said_of_typed
from rootread.desk.walldesk import Stale, WallDesk
from rootread.errors import BadRequest, RootreadError, WallRefused
from rootread.judge.verdict import verdict_ranges
from rootread.marks import marks_path
from rootread.photo import read_photo
from rootread.settings import Settings
from rootread.units import lengths_shown_in

MOST_MEGAPIXELS = 40.0
"""Of photos whose large values stay in memory, or are shown: three from a phone, one of 50 megapixels."""
RESULTS = "results"
FLAT_PX_PER_IN = 30.0
"""Resolution of the flat walls that are laid side by side."""


class Desk:
    """All that the page works on; one thread of its own reads walls, the most wanted first."""

    def __init__(self, folder: Path, settings: Settings | None = None, out: Path | None = None) -> None:
        self.settings = settings or Settings()
        self.folder = Folder(folder, self.settings.photo)
        self.out = out or self.folder.path / RESULTS
        self.walls: dict[str, WallDesk] = {}
        self.messages: list[str] = []
        self.report = ReportState()
        self._lock = threading.RLock()
        self._wake = threading.Condition()
        self._wanted: str | None = None
        self._large: list[WallDesk] = []
        # By their photos: the sheet may give a wall's name to another.
        self._pyramids: dict[Path, Pyramid] = {}
        self._flats: dict[tuple[Path, bool], tuple[Seen, FlatPicture]] = {}
        self._stopped = False
        self.refresh()
        self._thread = threading.Thread(target=self._work, name="reading", daemon=True)

    def start(self) -> None:
        """Begin to read."""
        self._thread.start()

    def stop(self) -> None:
        """Read no further; what is being read is let finish."""
        self._stopped = True
        self._poke()

    def refresh(self) -> None:
        """Look at the folder again: new photos come in, rows of the sheet are taken over."""
        with self._lock:
            try:
                says = [] if self.walls else self._moves_finished()
                jobs, messages = self.folder.jobs(self.out)
                renamed = self._renamed(jobs)
                says += self._with_their_marks(renamed)
                if renamed:
                    # Once more: marks lie elsewhere now.
                    jobs, messages = self.folder.jobs(self.out)
            except RootreadError as error:
                self.messages = [str(fault) for fault in (error, *error.others)]
                return
            self.messages = [*says, *messages]
            by_photo = self._by_photo()
            walls: dict[str, WallDesk] = {}
            for job in jobs:
                if not job.photo.resolve().is_relative_to(self.folder.path):
                    self.messages.append(f"{job.photo.name} lies outside the folder and is left out.")
                    continue
                wall = by_photo.get(job.photo)
                try:
                    if wall is None:
                        wall = WallDesk.of(job, self.folder.marks_file(job), self.settings)
                    else:
                        wall.take_row(job)
                except RootreadError as error:
                    self.messages.append(f"{error.cause} {error.remedy}".strip())
                    continue
                walls[wall.name] = wall
            self.walls = walls
        self._poke()

    def _by_photo(self) -> dict[Path, WallDesk]:
        return {wall.job.photo: wall for wall in self.walls.values()}

    def _moves_finished(self) -> list[str]:
        """Marks that were on their way to a new name when a desk ended are there now; what was set aside."""
        jobs, _ = self.folder.jobs(self.out)
        folders = sorted({marks_path(job.photo, job.row.wall).parent for job in jobs})
        own = [folder for folder in folders if folder.resolve().is_relative_to(self.folder.path)]
        return [told for folder in own for told in finish_moves(folder)]

    def _renamed(self, jobs: Sequence[WallJob]) -> list[tuple[WallDesk, Path]]:
        """Walls whose marks have another place from now on, since the sheet calls them otherwise."""
        by_photo = self._by_photo()
        places = [(by_photo[job.photo], self.folder.marks_file(job)) for job in jobs if job.photo in by_photo]
        return [(wall, place) for wall, place in places if wall.marks_file != place]

    def _with_their_marks(self, renamed: Sequence[tuple[WallDesk, Path]]) -> list[str]:
        """Move the marks of renamed walls to their places; what was set aside, in words."""
        # A page that shows another wall by this name must see that this one is newer.
        newest = max((wall.version for wall in self.walls.values()), default=0)
        with ExitStack() as held:
            for wall, _ in renamed:
                held.enter_context(wall.lock)
            moved = [(wall, place) for wall, place in renamed if wall.has_marks_of_its_own]
            says = move_marks([(wall.marks_file, place) for wall, place in moved])
            for wall, place in renamed:
                wall.marks_file, wall.version = place, newest + 1
                if (wall, place) not in moved:
                    wall.go_by_marks_there()
        return says

    def wall(self, name: str) -> WallDesk:
        """A wall by its name.

        Raises
        ------
        KeyError : there is none of that name; names are looked up and never made into paths.
        """
        return self.walls[name]

    def want(self, name: str) -> None:
        """This wall is being looked at: it is read before the others."""
        self._wanted = name
        self._poke()

    def changed(self) -> None:
        """Something is to be read again."""
        self._poke()

    def sheet(self) -> Sheet:
        """The sheet's cells as the page shows them."""
        with lengths_shown_in(self.settings.report.units):
            return as_shown(self.folder.sheet())

    def sheet_faults(self, typed: Sheet) -> list[dict[str, Any]]:
        """Every cell that cannot be understood as it stands on the page."""
        with lengths_shown_in(self.settings.report.units):
            faults = cell_faults(as_written(typed, self.folder.sheet()))
            return [fault | {"says": said_of_typed(fault["says"])} for fault in faults]

    def write_sheet(self, typed: Sheet, revision: str) -> tuple[list[dict[str, Any]], str]:
        """Replace the sheet and take its rows over, if every cell can be understood; else what cannot.

        Returns
        -------
        What cannot be understood, and the revision of the sheet as it is then.

        Raises
        ------
        Stale : it was typed into another sheet than the one that is saved.
        """
        with self.folder.lock:
            faults = self.sheet_faults(typed)
            if faults:
                return faults, self.folder.sheet_revision
            if revision != self.folder.sheet_revision:
                raise Stale(
                    "The sheet was changed elsewhere, perhaps by one that came with photos.",
                    "Load the page again and do your last change again.",
                )
            with lengths_shown_in(self.settings.report.units):
                written = as_written(typed, self.folder.sheet())
            self.folder.write_sheet(written)
            revision = self.folder.sheet_revision
        self.refresh()
        return [], revision

    def take_sheet(self, content: bytes, placed: dict[str, str]) -> list[str]:
        """Take in a sheet that came with photos; what could not be taken, in words."""
        says = self.folder.take_sheet(content, placed)
        self.refresh()
        return says

    def values(self) -> dict[str, Any]:
        """What the page shows of the whole folder, walls that need a look first, those that had it last."""
        walls = [wall.summary() for wall in list(self.walls.values())]
        walls.sort(
            key=lambda wall: (
                wall["checked"] and wall["status"] == "read",
                -wall["urgency"],
                wall["pit"],
                wall["name"],
            )
        )
        left = [wall for wall in walls if wall["status"] in ("waiting", "reading")]
        spent = [wall.seconds for wall in self.walls.values() if wall.seconds]
        return {
            "folder": self.folder.path.name,
            "units": self.settings.report.units,
            "verdicts": [asdict(covered) for covered in verdict_ranges(self.settings.judge)],
            "results": str(self.out.resolve()),
            "walls": walls,
            "messages": self.messages,
            "queue": {
                "done": len(walls) - len(left),
                "total": len(walls),
                "seconds_left": round(len(left) * sum(spent) / len(spent)) if spent else None,
            },
            "report": self.report.values(),
        }

    def pyramid(self, wall: WallDesk) -> Pyramid:
        """The wall's photo in its sizes.

        Raises
        ------
        UnreadablePhoto : as ``read_photo``.
        """
        with self._lock:
            pyramid = self._pyramids.pop(wall.job.photo, None)
        if pyramid is None:
            photo = wall.stages.photo or read_photo(wall.job.photo, self.settings.photo)
            pyramid = Pyramid(photo.rgb)
        with self._lock:
            self._pyramids[wall.job.photo] = pyramid
            while (
                len(self._pyramids) > 1
                and sum(one.megapixels for one in self._pyramids.values()) > MOST_MEGAPIXELS
            ):
                self._pyramids.pop(next(iter(self._pyramids)))
        return pyramid

    def flat(self, wall: WallDesk, small: bool) -> tuple[bytes, dict[str, float]] | None:
        """The wall laid flat with its roots, as JPEG, and where it lies; None until it is read."""
        reading, at = wall.reading, (wall.job.photo, small)
        if reading is None:
            return None
        seen, flat = self._flats.get(at, (None, None))
        # Not that of the reading made last: a change may have been taken back since.
        if flat is None or seen is not reading.seen:
            seen, px_per_in = reading.seen, THUMB_PX_PER_IN if small else FLAT_PX_PER_IN
            flat = flat_picture(seen.image, seen.plane, seen.photo_size_px, px_per_in)
            self._flats[at] = seen, flat
        return flat.with_roots(reading), flat.place

    def make_report(self) -> None:
        """Write the whole result, as ``rootread grade`` would, in a thread of its own."""
        if self.report.begin(len(self.walls)):
            threading.Thread(target=self._report, name="report", daemon=True).start()

    def _report(self) -> None:
        try:
            walls = list(self.walls.values())
            for done, wall in enumerate(walls, start=1):
                wall.keep_record(self.out)
                self.report.at(done, len(walls))
            plan = plan_walls([self.folder.path], self.out)
            grade_walls(plan, self.out, self.settings, 1, lambda done, total, _: self.report.at(done, total))
            self.report.end("")
        except RootreadError as error:
            self.report.end(f"{error.cause} {error.remedy}".strip())
        except Exception as error:
            self.report.end(f"The report could not be written ({type(error).__name__}: {error}).")

    def _poke(self) -> None:
        with self._wake:
            self._wake.notify_all()

    def _work(self) -> None:
        while not self._stopped:
            wall = self._next()
            if wall is None:
                with self._wake:
                    self._wake.wait(timeout=0.5)
                continue
            self._read(wall)

    def _next(self) -> WallDesk | None:
        """First what a person changed, then what they look at, then the rest in order."""
        walls = list(self.walls.values())
        changed = [w for w in walls if w.reading is not None and not w.reading.settled and not w.refusal]
        waiting = [w for w in walls if w.status == "waiting"]
        for group in (changed, waiting):
            wanted = [w for w in group if w.name == self._wanted]
            if wanted or group:
                return (wanted or group)[0]
        return None

    def _read(self, wall: WallDesk) -> None:
        started = time.perf_counter()
        with wall.lock:
            job, marks, first = wall.job, wall.marks, wall.reading is None
            if first:
                wall.status = "reading"

        def say(stage: str) -> None:
            wall.stage = stage

        try:
            if first:
                say("opening the photo")
                wall.open_photo()
            seen = wall.stages.seen(job.photo, job.row, marks, say)
            say("judging")
            wall.publish(seen, time.perf_counter() - started)
            self._hold(wall)
        except (WallRefused, BadRequest) as error:
            wall.refuse(error, job.row, marks)
        except Exception as error:
            said = f"The program failed on this photo ({type(error).__name__}: {error})."
            remedy = "Go on without it, and send it to the program's makers."
            wall.refuse(WallRefused(said, remedy), job.row, marks)

    def _hold(self, wall: WallDesk) -> None:
        """Keep the large values of the walls that were worked on last."""
        if wall in self._large:
            self._large.remove(wall)
        self._large.append(wall)
        while len(self._large) > 1 and sum(one.megapixels for one in self._large) > MOST_MEGAPIXELS:
            oldest = next((w for w in self._large if w.name != self._wanted), self._large[0])
            self._large.remove(oldest)
            oldest.stages.forget_large()


class ReportState:
    """How far the report is."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self.state = "none"
        self.done = 0
        self.total = 0
        self.says = ""

    def begin(self, total: int) -> bool:
        """Whether it may begin; False while one is being written."""
        with self._lock:
            if self.state == "writing":
                return False
            self.state, self.done, self.total, self.says = "writing", 0, total, ""
            return True

    def at(self, done: int, total: int) -> None:
        """So many walls are written."""
        with self._lock:
            self.done, self.total = done, total

    def end(self, fault: str) -> None:
        """Written, or not, and why."""
        with self._lock:
            self.state, self.says = ("failed" if fault else "ready"), fault

    def values(self) -> dict[str, Any]:
        """For the page."""
        with self._lock:
            return {"state": self.state, "done": self.done, "total": self.total, "says": self.says}

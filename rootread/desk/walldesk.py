"""One wall on the desk: its marks, its last reading, and what is kept of it in memory."""

import hashlib
import json
import threading
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

import numpy as np

from rootread.batch import WallJob
from rootread.batch.record import kept_record, write_wall
from rootread.desk.figures import number, wall_values
from rootread.desk.glance import glance
from rootread.desk.looks import looks, urgency
from rootread.desk.snap import snap, unpacked, without
from rootread.desk.stages import Reading, Seen, Stages, judged, same_sight
from rootread.errors import BadMarks, BadRequest, RootreadError
from rootread.fieldsheet import SheetRow
from rootread.marks import Marks, marks_from, marks_values, read_marks, write_marks
from rootread.report.byhand import reading_words
from rootread.report.colours import verdict_tone
from rootread.settings import Settings
from rootread.units import lengths_shown_in

Status = Literal["waiting", "reading", "read", "refused"]
REFUSED_URGENCY = 1000


class Stale(BadRequest):
    """The marks were changed elsewhere in the meantime."""


@dataclass(eq=False)
class WallDesk:
    """One wall on the desk. ``lock`` guards everything that changes."""

    job: WallJob
    marks_file: Path
    settings: Settings
    stages: Stages
    marks: Marks = field(default_factory=Marks)
    status: Status = "waiting"
    stage: str = ""
    """What is being done, while it is read."""
    reading: Reading | None = None
    refusal: RootreadError | None = None
    broken: BadMarks | None = None
    """Why its marks file cannot be understood; what lies in it must not be written over unseen."""
    seconds: float = 0.0
    version: int = 0
    """Grows with every change that a page should show."""
    lock: threading.RLock = field(default_factory=threading.RLock)

    @classmethod
    def of(cls, job: WallJob, marks_file: Path, settings: Settings) -> "WallDesk":
        """A wall with the marks that lie beside its photo."""
        wall = cls(job, marks_file, settings, Stages(settings))
        wall.load_marks()
        return wall

    @property
    def name(self) -> str:
        """The wall's name."""
        return self.job.row.wall

    @property
    def revision(self) -> str:
        """Names photo and marks, so that a page can tell whether it knows the latest of this very wall."""
        return hashlib.sha256(f"{self.job.photo} {_text(self.marks)}".encode()).hexdigest()[:16]

    @property
    def megapixels(self) -> float:
        """Size of its photo; 0 until it is read."""
        columns, rows = self.stages.photo_size_px or (0, 0)
        return columns * rows / 1e6

    def load_marks(self) -> None:
        """Take the marks from their file; broken ones refuse the wall until they are mended."""
        if not self.marks_file.exists():
            return
        try:
            self.marks = read_marks(self.marks_file)
        except BadMarks as error:
            self.status, self.refusal, self.broken = "refused", error, error

    @property
    def has_marks_of_its_own(self) -> bool:
        """Whether a file holds its marks, and no other photo's by what is known of it."""
        another_photos = self.broken is not None and self.marks != Marks()
        return self.marks_file.exists() and not another_photos

    def go_by_marks_there(self) -> None:
        """Take those that lie under its new name already, as a run does."""
        if self.broken is not None:
            self.status, self.refusal, self.broken = "waiting", None, None
        self.marks = Marks()
        self.load_marks()

    def open_photo(self) -> None:
        """Open the photo, and hold the marks that lie beside it against its size, as a run does.

        Raises
        ------
        UnreadablePhoto : as ``read_photo``.
        BadMarks : they were drawn on a photo of another size.
        """
        size_px = self.stages.open(self.job.photo).size_px
        # Under the lock, or a change could take the file away once it was found to be there.
        with self.lock:
            try:
                if self.marks_file.exists():
                    read_marks(self.marks_file, size_px)
            except BadMarks as error:
                self.broken = error
                raise

    def take_marks(self, content: Any, revision: str) -> None:
        """Save what a person drew, then read what it changes as far as that takes no time.

        The file is whole and in its place before anything is read, so that
        nothing that was answered for can be lost.

        Raises
        ------
        BadMarks : the marks make no sense, or those in the file made none; the file is as it was.
        Stale : they were made on other marks than those that are saved.
        """
        size_px = self.stages.photo_size_px
        marks = marks_from(as_floats(content), self.marks_file.name, size_px)
        size_px = (size_px or marks.photo_size_px) if marks.drawn else None
        marks = replace(marks, photo_size_px=size_px)
        with self.lock:
            if self.broken is not None:
                raise self.broken
            if revision != self.revision:
                raise Stale(
                    f"The marks of {self.name} were changed elsewhere, perhaps in another window.",
                    "They are shown as they are now; do your last change again.",
                )
            self._save(marks)
            self.marks = marks
            self._glance()
            # Not before: what is told of the wall meanwhile is older than the answer to this change.
            self.version += 1

    def _save(self, marks: Marks) -> None:
        if marks == Marks():
            # No marks, no file: a wall put back as it was leaves nothing behind.
            self.marks_file.unlink(missing_ok=True)
            self.job = replace(self.job, marks=None)
            return
        write_marks(marks, self.marks_file)
        self.job = replace(self.job, marks=self.marks_file)

    def _glance(self) -> None:
        if self.broken is not None:
            return
        if self.reading is None:
            # What was refused may be read with the new marks or the new row.
            self.status, self.refusal = "waiting", None
            return
        row, last = self.job.row, self.reading
        if last.settled and (last.row, last.marks) == (row, replace(self.marks, checked=last.marks.checked)):
            # That a person looked changes nothing that was read.
            self.reading, self.status, self.refusal = replace(last, marks=self.marks), "read", None
            return
        seen = self.stages.known(self.job.photo, row, self.marks) or self.reading.seen
        try:
            located = self.stages.located(self.job.photo, row, self.marks)
            self.reading = glance(self.reading, seen, row, self.marks, self.settings, located)
            self.status, self.refusal = "read", None
        except RootreadError as error:
            self.refusal = error

    def take_row(self, job: WallJob) -> None:
        """A new row of the sheet, or a wall renamed."""
        with self.lock:
            if job.row == self.job.row:
                self.job = job
                return
            self.job = job
            self._glance()
            self.version += 1

    @property
    def settled(self) -> bool:
        """Whether the reading is whole and of the latest marks."""
        return self.refusal is None and self.reading is not None and self.reading.settled

    def publish(self, seen: Seen, seconds: float) -> None:
        """Take in a whole reading; if the marks have moved on meanwhile, it is looked at through those."""
        row, marks = self.job.row, self.marks
        # Outside the lock, which the next change waits for.
        if not same_sight(seen, row, marks):
            row, marks = seen.row, seen.marks
        whole = judged(seen, seen.plane, seen.traces, row, marks, self.settings)
        with self.lock:
            latest = (whole.marks, whole.row) == (self.marks, self.job.row)
            # Of marks that were taken back meanwhile, nothing is shown: neither where the figures are whole
            # already, nor as those of before a change that is refused.
            if latest or self.reading is None or not (self.reading.settled or self.refusal):
                self.reading, self.status, self.refusal = whole, "read", None
                if not latest:
                    self._glance()
            self.seconds, self.stage = seconds, ""
            self.version += 1

    def keep_record(self, out: Path) -> None:
        """Write what a run would write of this wall, as far as its whole reading is there."""
        with self.lock:
            # Marks are saved under the same lock, so that key and reading are of the same marks.
            if self.reading is None or self.refusal is not None:
                return
            key = self.job.key(self.settings)
            wall = self.stages.wall(self.job.photo, self.reading, self.seconds)
        if wall is not None and kept_record(out, wall.name, key) is None:
            write_wall(wall, out, key, self.settings)

    def refuse(self, error: RootreadError, row: SheetRow, marks: Marks) -> None:
        """The wall cannot be read by a row and marks; by what they were changed to meanwhile it may be."""
        with self.lock:
            if (row, marks) == (self.job.row, self.marks):
                self.status, self.refusal = "refused", error
            elif self.reading is None:
                self.status = "waiting"
            self.stage = ""
            self.version += 1

    def snapped(self, clicks_px: list[tuple[float, float]]) -> dict[str, Any]:
        """Clicks made into a line along the root; straight lines where nothing has been read yet."""
        reading = self.reading
        if reading is None:
            return {"points_px": clicks_px, "width_px": None}
        grid, plane = reading.seen.image.grid, reading.seen.plane
        # A missing root is looked for where no root runs yet.
        traces = [plane.to_wall_in(reading.plane.to_photo_px(trace.points)) for trace in reading.traces]
        probability = without(unpacked(reading.seen.root_map), grid, traces)
        line, width_px = snap(probability, grid, plane, clicks_px)
        return {
            "points_px": np.round(line, 1).tolist(),
            "width_px": None if width_px is None else round(width_px, 1),
        }

    def summary(self) -> dict[str, Any]:
        """A line about the wall, for the field and the queue."""
        # Under the lock, or a new reading could be told of under the version of the one before.
        with self.lock, lengths_shown_in(self.settings.report.units):
            return self._summary()

    def _summary(self) -> dict[str, Any]:
        row, reading = self.job.row, self.reading
        said: dict[str, Any] = {
            "name": self.name,
            "photo": self.job.photo.name,
            "pit": row.pit,
            "treatment": row.treatment,
            "status": self.status,
            "stage": self.stage,
            "version": self.version,
            "marked": self.marks.drawn,
            "checked": False,
            "urgency": 0,
            "looks": [],
        }
        if self.refusal is not None:
            said |= {"cause": self.refusal.cause, "remedy": self.refusal.remedy, "urgency": REFUSED_URGENCY}
        if reading is None:
            return said
        found, reads = looks(reading), reading_words(reading.readings, reading.layers, reading.grade)
        score = reading.grade.score
        return said | {
            "settled": reading.settled,
            "reads": reads,
            "checked": self.refusal is None and self.marks.checked == reads,
            "grade": [number(value, 3) for value in (score.value, score.low, score.high)],
            "verdict": reading.grade.verdict,
            "tone": verdict_tone(reading.grade.verdict),
            "urgency": said["urgency"] or urgency(found),
            "looks": [look.says for look in found],
        }

    def values(self) -> dict[str, Any]:
        """Everything the page shows of the wall."""
        with self.lock:
            said = self.summary() | {"marks": marks_values(self.marks), "revision": self.revision}
            said["size_px"] = self.stages.photo_size_px
            with lengths_shown_in(self.settings.report.units):
                return said | {"reading": wall_values(self.reading) if self.reading else None}


def _text(marks: Marks) -> str:
    return json.dumps(marks_values(replace(marks, photo_size_px=None)), sort_keys=True)


def as_floats(value: Any) -> Any:
    """JSON values with every number a float, as the marks' reader takes them."""
    if isinstance(value, bool) or value is None or isinstance(value, str | float):
        return value
    if isinstance(value, int):
        return float(value) if abs(value) < 2**53 else float("inf")
    if isinstance(value, list):
        return [as_floats(item) for item in value]
    if isinstance(value, dict):
        return {key: as_floats(item) if key != "version" else item for key, item in value.items()}
    return value

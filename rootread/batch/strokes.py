"""Settings for a run that follow what strokes on one of its photos say."""

from dataclasses import replace
from pathlib import Path

from rootread.batch.plan import Plan, WallJob, plan_walls
from rootread.errors import BadRequest
from rootread.find.field import learn_field
from rootread.marks import read_marks
from rootread.photo import read_photo
from rootread.plane import find_plane, lay_flat
from rootread.settings import Settings


def taught_by_strokes(marks_file: Path, plan: Plan, settings: Settings) -> Settings:
    """The settings with the network taught by a marks file's strokes; for the whole run.

    Raises
    ------
    BadRequest : no photo belongs to the file, or it has no strokes of both kinds.
    WallRefused : that photo cannot be laid flat.
    """
    job = _job_of(marks_file, plan)
    photo = read_photo(job.photo, settings.photo)
    marks = read_marks(marks_file, photo.size_px)
    plane = find_plane(photo, job.row, marks, settings.plane)
    learned = learn_field(lay_flat(photo, plane, settings.plane), plane, marks)
    return replace(settings, find=replace(settings.find, learned=learned))


def _job_of(marks_file: Path, plan: Plan) -> WallJob:
    """The wall that a marks file is of: one of the run, or one of the folder beside the marks."""
    if not marks_file.is_file():
        raise BadRequest(f"There is no file {marks_file}.", "Give a marks file: marks/WALL.json.")
    wanted = marks_file.resolve()
    photos = marks_file.parent.parent
    for jobs in (plan.jobs, plan_walls([photos]).jobs if photos.is_dir() else ()):
        for job in jobs:
            if job.marks is not None and job.marks.resolve() == wanted:
                return job
    raise BadRequest(
        f"No photo belongs to the marks {marks_file}.",
        "Marks lie in a folder marks beside their photo, by its name.",
    )

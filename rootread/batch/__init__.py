"""Read many walls and write what comes out: one photo, a folder, or a season's folders."""

from rootread.batch.plan import Plan, WallJob, plan_walls
from rootread.batch.record import Record
from rootread.batch.run import Run, grade_walls

__all__ = ["Plan", "Record", "Run", "WallJob", "grade_walls", "plan_walls"]

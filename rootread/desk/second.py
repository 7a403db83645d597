"""Two people's readings of one wall: how far they agree on lengths, angles and the grade.

Agreement is told as in method comparison (Bland and Altman, Lancet 1986,
from memory): the mean difference and the limits within which 95 % of the
differences lie, ``mean +- 1.96 sd``, over the roots that both read.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment
from scipy.spatial import cKDTree

from rootread.desk.figures import wall_values
from rootread.desk.renamed import second_file
from rootread.desk.stages import Reading, Stages, judged, same_sight
from rootread.desk.walldesk import as_floats
from rootread.errors import BadRequest
from rootread.geometry import Points
from rootread.marks import Marks, marks_from, read_marks, write_marks
from rootread.measure.intervals import NORMAL_95

if TYPE_CHECKING:
    from rootread.desk.state import Desk
    from rootread.desk.walldesk import WallDesk

NEAR_IN = 0.1
"""Two lines nearer than this follow the same root."""
SAME_SHARE = 0.5
"""Two traces are one root when at least this share of each lies on the other."""


def agreement(first: Reading, second: Reading) -> dict[str, Any]:
    """How far two readings of one wall agree.

    Lengths in common are counted both ways on points 0.05 in apart; angle and
    length of single roots on the roots that both followed.
    """
    # Two scales or plumb lines give one root two places in inches: it is compared where the photo shows it.
    ours = [root.trace.points for root in first.readings.roots]
    theirs = [
        first.plane.to_wall_in(second.plane.to_photo_px(root.trace.points)) for root in second.readings.roots
    ]
    shared = _shared(ours, theirs)
    pairs = _pairs(shared, _shared(theirs, ours).T)
    mine, other_roots = first.readings.roots, second.readings.roots
    length = np.array([[mine[a].length_in, other_roots[b].length_in] for a, b in pairs]).reshape(-1, 2)
    angle = np.array([[mine[a].descent_deg, other_roots[b].descent_deg] for a, b in pairs]).reshape(-1, 2)
    one, other = first.grade.score, second.grade.score
    return {
        "roots": [len(ours), len(theirs), len(pairs)],
        "length_in": [first.readings.root_length_in, second.readings.root_length_in],
        "in_common": [_on_other(ours, theirs), _on_other(theirs, ours)],
        "descent_deg": [first.readings.descent.value, second.readings.descent.value],
        "grade": [one.value, other.value],
        "verdict": [first.grade.verdict, second.grade.verdict],
        "grades_overlap": bool(one.low <= other.high and other.low <= one.high),
        "root_length_difference_in": limits(length[:, 1] - length[:, 0]),
        "root_angle_difference_deg": limits(angle[:, 1] - angle[:, 0]),
    }


def limits(differences: NDArray[np.float64]) -> dict[str, float] | None:
    """Mean difference and 95 % limits of agreement; None for fewer than two pairs."""
    if len(differences) < 2:
        return None
    mean, sd = float(differences.mean()), float(differences.std(ddof=1))
    return {"mean": mean, "low": mean - NORMAL_95 * sd, "high": mean + NORMAL_95 * sd}


def _on_other(roots: Sequence[Points], others: Sequence[Points]) -> float | None:
    """Share of the length of some roots that lies on others; None without roots."""
    if not roots:
        return None
    if not others:
        return 0.0
    return float((cKDTree(np.concatenate(others)).query(np.concatenate(roots))[0] < NEAR_IN).mean())


def _shared(roots: Sequence[Points], others: Sequence[Points]) -> NDArray[np.float64]:
    """``(A, B)`` share of each root that lies on each other root."""
    shared = np.zeros((len(roots), len(others)))
    for b, other in enumerate(others):
        tree = cKDTree(other)
        for a, root in enumerate(roots):
            shared[a, b] = (tree.query(root, distance_upper_bound=NEAR_IN)[0] < NEAR_IN).mean()
    return shared


def _pairs(one_on_other: NDArray[np.float64], other_on_one: NDArray[np.float64]) -> list[tuple[int, int]]:
    """Roots that are the same in both readings, each in one pair at most."""
    both = np.minimum(one_on_other, other_on_one)
    rows, columns = linear_sum_assignment(-both)
    pairs = zip(rows.tolist(), columns.tolist(), strict=True)
    return [(a, b) for a, b in pairs if both[a, b] >= SAME_SHARE]


def second_opinion(desk: "Desk", wall: "WallDesk", program: bool) -> dict[str, Any]:
    """The wall's reading against another: the second person's, or the program's own without any marks.

    Raises
    ------
    BadRequest : the wall is not read yet, or there is no second reading.
    """
    mine = wall.reading
    if mine is None or not mine.settled:
        raise BadRequest("This wall is not read yet.", "Wait until it is.")
    marks = Marks() if program else _second_marks(desk, wall, mine.seen.photo_size_px)
    if marks is None:
        return {"there": False}
    other = _read_with(wall, mine, marks)
    ours, theirs = wall_values(mine)["roots"], wall_values(other)["roots"]
    near_px = NEAR_IN * mine.plane.scale.px_per_in
    return _finite(
        {
            "there": True,
            "agreement": agreement(mine, other),
            "roots": theirs,
            "ours_alone": _alone(ours, other, near_px),
            "theirs_alone": _alone(theirs, mine, near_px),
        }
    )


def _alone(roots: Sequence[dict[str, Any]], other: Reading, near_px: float) -> list[list[bool]]:
    """For each drawn point of each root, whether the other reading has no line there."""
    lines_px = [other.plane.to_photo_px(root.trace.points) for root in other.readings.roots]
    if not lines_px:
        return [[True] * len(root["points_px"]) for root in roots]
    tree = cKDTree(np.concatenate(lines_px))
    return [(tree.query(root["points_px"])[0] >= near_px).tolist() for root in roots]


def take_second(desk: "Desk", wall: "WallDesk", content: Any) -> None:
    """Keep a second person's marks file beside the first's.

    Raises
    ------
    BadMarks : it is no marks file, or one of another photo.
    """
    size_px = wall.reading.seen.photo_size_px if wall.reading else None
    write_marks(marks_from(as_floats(content), "the second marks", size_px), _second_file(desk, wall))


def _second_marks(desk: "Desk", wall: "WallDesk", size_px: tuple[int, int]) -> Marks | None:
    path = _second_file(desk, wall)
    return read_marks(path, size_px) if path.exists() else None


def _second_file(desk: "Desk", wall: "WallDesk") -> Path:
    return second_file(desk.folder.marks_file(wall.job))


def _read_with(wall: "WallDesk", mine: Reading, marks: Marks) -> Reading:
    """The wall's reading under other marks; the photo is read again only where they ask for it."""
    seen, row = mine.seen, mine.row
    if not same_sight(seen, row, marks):
        seen = Stages(wall.settings).seen(wall.job.photo, row, marks, lambda _: None)
    return judged(seen, seen.plane, seen.traces, row, marks, wall.settings)


def _finite(value: Any) -> Any:
    """The values with None where there is no figure, which JSON cannot say otherwise."""
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    return None if isinstance(value, float) and not np.isfinite(value) else value

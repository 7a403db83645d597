"""Where roots were turned sideways: runs and turns, each event of a root counted once."""

from collections.abc import Sequence
from dataclasses import dataclass

from rootread.measure.types import RootReading, SidewaysRun, Turn

SAME_EVENT_IN = 1.0
"""A turn and a run of one root nearer in depth than this are one event: the turn led into the run.
A root that ran, dropped through a crack and ran again farther below was turned twice."""
COME_DOWN_IN = 1.0
"""A root was seen to come down to where it turned if it was seen at least this far above."""


@dataclass(frozen=True)
class Diversion:
    """One root turned sideways once."""

    root: int
    """Index of the root in the wall's readings."""
    depth_in: float
    """Depth at which it ran, or settled after the turn."""
    x_in: float
    x_from_in: float
    x_to_in: float
    sideways_in: float
    """Inches run; 0 for a turn without a run."""
    turned: bool
    """It was seen to come down and turn; False for a level piece that nothing above it leads to."""


def diversions(roots: Sequence[RootReading]) -> tuple[Diversion, ...]:
    """All diversions of a wall, root by root from the top down."""
    found = []
    for index, root in enumerate(roots):
        pieces: list[SidewaysRun | Turn] = [*root.runs, *root.turns]
        pieces.sort(key=_depth)
        group: list[SidewaysRun | Turn] = []
        for piece in pieces:
            if group and _depth(piece) - _depth(group[0]) > SAME_EVENT_IN:
                found.append(_merged(index, root, group))
                group = []
            group.append(piece)
        if group:
            found.append(_merged(index, root, group))
    return tuple(found)


def _depth(piece: SidewaysRun | Turn) -> float:
    return piece.depth_in if isinstance(piece, SidewaysRun) else piece.settled_depth_in


def _merged(index: int, root: RootReading, pieces: Sequence[SidewaysRun | Turn]) -> Diversion:
    runs = [piece for piece in pieces if isinstance(piece, SidewaysRun)]
    turned = [piece for piece in pieces if isinstance(piece, Turn)]
    sideways_in = sum(run.length_in for run in runs)
    if runs:
        depth_in = sum(run.depth_in * run.length_in for run in runs) / sideways_in
    else:
        depth_in = sum(turn.settled_depth_in for turn in turned) / len(turned)
    ends = [x for run in runs for x in (run.x_from_in, run.x_to_in)] + [turn.x_in for turn in turned]
    x_in = turned[0].x_in if turned else (min(ends) + max(ends)) / 2
    came_down = depth_in - float(root.trace.points[:, 1].min()) >= COME_DOWN_IN
    return Diversion(index, depth_in, x_in, min(ends), max(ends), sideways_in, bool(turned) and came_down)

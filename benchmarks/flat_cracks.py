"""Are flattened stretches that lie in cracks told from the others?

The question is put twice: for the true flattened stretches, laid into the plane
and beside the cracks that were read, which shows how well cracks are told; and
for the stretches that the reading found flattened.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np
from made_walls import SETTINGS, ReadWall
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from true_walls import true_trace, truly_flattened
from truth import every_step

from rootread.follow import Trace
from rootread.measure import Readings, RootReading, measure_wall
from rootread.measure.flat_stretches import flat_spans, flat_stretches
from rootread.measure.sideways import stretches

CRACK_NEAR_IN = 0.12
"""A root that follows a crack lies this near its middle; roots are stiffer than cracks are ragged."""
LEAST_POINTS = 10
"""Half an inch of flattened root."""

Call = tuple[bool, bool]
"""Whether a flattened stretch lies in a crack, and whether that was said."""


def calls_on_true_stretches(wall: ReadWall) -> list[Call]:
    """One for every true flattened stretch that the photo shows."""
    traces = [trace for trace in (_marked_trace(wall, n) for n in range(len(wall.truth.roots))) if trace]
    readings = measure_wall(traces, wall.plane, SETTINGS.measure)
    # Their widths may look flattened elsewhere too, which is not asked about.
    marked = [replace(root, flattened=root.trace.squeezed) for root in readings.roots]
    return list(_calls(wall, marked))


def calls_on_found_stretches(wall: ReadWall, readings: Readings) -> list[Call]:
    """One for every stretch that was read as flattened, whether it is or not."""
    return list(_calls(wall, readings.roots))


def _calls(wall: ReadWall, roots: Iterable[RootReading]) -> Iterator[Call]:
    lines = [*wall.truth.raw["cracks"], *wall.truth.raw.get("channels", ())]
    cracks = cKDTree(np.concatenate([every_step(np.array(line)) for line in lines])) if lines else None
    for root in roots:
        said = flat_stretches(root, wall.root_map.cracks_in)
        for (first, past), flat in zip(flat_spans(root), said, strict=True):
            places = wall.truth.from_photo(wall.plane.to_photo_px(root.trace.points[first:past]))
            near = cracks is not None and (cracks.query(places)[0] < CRACK_NEAR_IN).mean() > 0.5
            yield bool(near), flat.crack is not None


def _marked_trace(wall: ReadWall, number: int) -> Trace | None:
    """A true root where the photo shows it, in the plane that was read, its flattened stretches marked."""
    root = wall.truth.roots[number]
    trace = true_trace(root, f"r{number}")
    if trace is None:
        return None
    at = np.flatnonzero(root.visible)
    span = slice(at[0], at[-1] + 1)
    seen = wall.plane.to_wall_in(wall.truth.to_photo(root.seen[span]))
    return replace(trace, points=seen, squeezed=_long_enough((truly_flattened(root) & root.visible)[span]))


def _long_enough(flat: NDArray[np.bool_]) -> NDArray[np.bool_]:
    kept = np.zeros_like(flat)
    for first, past in stretches(flat):
        kept[first:past] = past - first >= LEAST_POINTS
    return kept


def crack_summary(name: str, calls: list[Call]) -> str:
    """Recall and precision in a line."""
    true, said = np.array(calls, dtype=bool).reshape(-1, 2).T
    both = int((true & said).sum())
    return (
        f"Flattened in a crack, {name}: {len(true)} stretches, {true.sum()} in cracks; "
        f"said of {said.sum()}, rightly of {both}."
    )

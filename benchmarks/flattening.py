"""Where roots look squeezed flat: how much of what is said is so, how much of what is so is said, the share.

usage: python benchmarks/flattening.py [--each N] [--cache DIR] [--stale] [--no-benchmark]   the table
       python benchmarks/flattening.py --fit [--each N] [--cache DIR] [--stale]              fit it anew

A trace is flattened where the true root within 0.1 in is, by the design's definition. ``--fit`` takes half
inches where the photo shows the root and no other touches it, of made walls of training seeds, a third of
them of roots that twist, and writes ``rootread/measure/squeezed.json``; the table is of made walls of
held-out seeds and of the benchmark walls. *Right* is how much of what is said is so, *found* how much of what
is so is said, where the root is followed and seen, beside another root too.
*Share* is that of the visible root length, as in ``walls.csv``; *rank* its rank correlation with the truth.
"""

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from confidence import only_read
from logistic import fitted_chance
from made_walls import (
    HELD_OUT_SEED,
    KEPT_SEED,
    SETTINGS,
    TRAINING_SEED,
    WAVY_SEED,
    ReadWall,
    fitting_options,
    read_walls,
    wall_list,
)
from matching import NEAR_IN, benchmark_walls, to_truth
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.stats import spearmanr
from true_walls import true_flattened_share, truly_flattened

from rootread.find import with_cracks
from rootread.measure import Readings, RootReading, measure_wall
from rootread.measure.direction import goes_down
from rootread.measure.light import light_falloff, linear_grey
from rootread.measure.squeezed import FITTED, Seen, piece_features, piece_size
from rootread.measure.wall import unclear_points

SIZE = piece_size(SETTINGS.measure)
ROW = (
    "| {name} | {walls} | {said_in:.0f} | {right:.0%} | {found:.0%} "
    "| {median:.3f} | {worst:.3f} | {rank:.2f} | {held:.0%} |"
)


@dataclass(frozen=True)
class Told:
    """What was said of one wall, and what is so."""

    said: int
    """Points of its traces said to be flattened."""
    both: int
    """Those that are."""
    true: int
    """Points that are, where the root is seen."""
    share: float
    true_share: float
    is_held: bool
    """Whether the interval of the share holds the true one."""


@dataclass(frozen=True, eq=False)
class TruePlaces:
    """All places of the true roots of a wall, and where these are flattened and show."""

    tree: cKDTree
    is_flat: NDArray[np.bool_]

    @classmethod
    def of(cls, wall: ReadWall) -> "TruePlaces":
        """Of a wall."""
        roots = wall.truth.roots
        flat = [truly_flattened(root) & root.visible for root in roots]
        return cls(cKDTree(np.concatenate([root.seen for root in roots])), np.concatenate(flat))

    def flattened(self, root: RootReading, wall: ReadWall) -> NDArray[np.bool_]:
        """``(N,)`` where the true root nearest to a trace is flattened and shows."""
        away, at = self.tree.query(to_truth(root.trace.points, wall.plane, wall.truth))
        found: NDArray[np.bool_] = self.is_flat[at] & (away < NEAR_IN)
        return found


def read(wall: ReadWall) -> Readings:
    """Its figures, as a run has them."""
    return measure_wall(wall.traces, wall.plane, SETTINGS.measure, wall.image, None, wall.root_map.cracks_in)


def told(wall: ReadWall) -> Told:
    """Compare the reading of a wall with its truth."""
    readings, true = read(wall), TruePlaces.of(wall)
    pairs = [(root.flattened, true.flattened(root, wall) & ~root.trace.inferred) for root in readings.roots]
    interval, true_share = readings.intervals.flattened_share, true_flattened_share(wall.truth)
    return Told(
        said=sum(int(said.sum()) for said, _ in pairs),
        both=sum(int((said & is_so).sum()) for said, is_so in pairs),
        true=sum(int(is_so.sum()) for _, is_so in pairs),
        share=interval.value,
        true_share=true_share,
        is_held=interval.low <= true_share <= interval.high,
    )


def pieces(wall: ReadWall) -> Iterator[tuple[dict[str, NDArray[np.float64]], NDArray[np.bool_]]]:
    """Of each root what is seen of its half inches, from the upper end on, and which are flattened."""
    readings, true, grey = read(wall), TruePlaces.of(wall), linear_grey(wall.image)
    lines = [root.trace for root in readings.roots]
    for root, unclear in zip(readings.roots, unclear_points(lines), strict=True):
        falloff = light_falloff(grey, wall.image, root.trace)
        columns = [root.trace.width_in, unclear, root.descent_down_deg, falloff, true.flattened(root, wall)]
        if not goes_down(root.trace.points):
            columns = [column[::-1] for column in columns]
        *seen, is_flat = columns
        features, at = piece_features(Seen(*seen), SETTINGS.measure)
        if len(at):
            count = len(is_flat) // SIZE
            yield features, is_flat[: count * SIZE].reshape(count, SIZE).mean(axis=1)[at] > 0.5


def fit(walls: Iterable[ReadWall]) -> dict[str, list[float]]:
    """Weight and mean of every feature."""
    rows, truth = [], []
    for wall in walls:
        for features, is_flat in pieces(wall):
            names = list(features)
            rows.append(np.column_stack(list(features.values())))
            truth.append(is_flat)
    every = np.concatenate(truth)
    print(f"{len(every)} half inches, {every.mean():.1%} flattened; ", end="")
    return fitted_chance(names, np.concatenate(rows), every)


def print_row(name: str, walls: list[Told]) -> None:
    """Figures of a set of walls."""
    share, true_share = np.array([(one.share, one.true_share) for one in walls]).T
    said, both, true = (sum(getattr(one, key) for one in walls) for key in ("said", "both", "true"))
    off = np.abs(share - true_share)
    print(
        ROW.format(
            name=name,
            walls=len(walls),
            said_in=said * SETTINGS.measure.step_in,
            right=both / max(said, 1),
            found=both / max(true, 1),
            median=np.median(off),
            worst=off.max(),
            rank=spearmanr(share, true_share).statistic,
            held=np.mean([one.is_held for one in walls]),
        ),
        flush=True,
    )


def main() -> None:
    options = fitting_options(__doc__ or "")
    if options.fit:
        seeds = [s for first in (TRAINING_SEED, KEPT_SEED, WAVY_SEED) for s in wall_list(first, options.each)]
        walls = only_read(read_walls(seeds, options.cache, options.stale))
        FITTED.write_text(json.dumps(fit(walls), indent=1) + "\n", encoding="utf-8")
        return
    print("| walls | n | said, in | right | found | share off, median | worst | rank | interval holds |")
    print("|---" * 9 + "|")
    walls = only_read(read_walls(wall_list(HELD_OUT_SEED, options.each), options.cache, options.stale))
    print_row("held out", [told(wall) for wall in walls])
    if not options.no_benchmark:
        cracked = (replace(w, root_map=with_cracks(w.root_map, w.image)) for w in benchmark_walls())
        print_row("benchmark", [told(wall) for wall in cracked])


if __name__ == "__main__":
    main()

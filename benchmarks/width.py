"""Width of roots against truth: error, bias, and whether the stated error is right, by width in pixels.

usage: python benchmarks/width.py [--fit] [--each N] [--cache DIR] [--stale] [--no-benchmark]

With ``--fit`` made walls of training seeds say by how much soft edges widen a
root (``rootread.follow.profile``), and nothing is measured.

Points of traces within 0.06 in of a visible true root, bridged stretches left
out, on made walls of held-out seeds and on the benchmark walls. *Alone* is
where no other root's flank is within 0.04 in; elsewhere one root hides part of
the other, and its visible width is not its own.
"""

import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from confidence import only_read
from made_walls import (
    HELD_OUT_SEED,
    KEPT_SEED,
    TRAINING_SEED,
    WAVY_SEED,
    ReadWall,
    fitting_options,
    read_walls,
    wall_list,
)
from matching import benchmark_walls, to_truth
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.spatial import cKDTree

from rootread.follow import Trace
from rootread.follow.profile import (
    SOFTNESS_WIDENS,
    USUAL_SOFTNESS_PX,
    Edges,
    find_edges,
    soft_grey,
    width_between,
)

ON_ROOT_IN = 0.06
CLEAR_IN = 0.04
FITTED_FROM_PX = 2.0
"""Of thinner roots the blur alone sets the width."""
BINS_PX = (1.0, 2.5, 3.5, 5.0, 8.0, 14.0, 40.0)
FEWEST_POINTS = 10
"""A root with fewer points is left out of the column of roots."""


@dataclass(frozen=True, eq=False)
class Matched:
    """A trace where it runs along visible true roots."""

    number: int
    trace: Trace
    at: NDArray[np.int64]
    """``(K,)`` the points that do."""
    true_in: NDArray[np.float64]
    """``(K,)`` the root's own width there."""
    alone: NDArray[np.bool_]
    """``(K,)`` no other root's flank is near."""


def matched(wall: ReadWall) -> Iterator[Matched]:
    """The traces of a wall with the true widths beside them."""
    seen = np.concatenate([root.seen for root in wall.truth.roots])
    width = np.concatenate([root.width_in for root in wall.truth.roots])
    shown = np.concatenate([root.visible for root in wall.truth.roots])
    owner = np.repeat(np.arange(len(wall.truth.roots)), [len(root.seen) for root in wall.truth.roots])
    tree = cKDTree(seen)
    for number, trace in enumerate(wall.traces):
        places = to_truth(trace.points, wall.plane, wall.truth)
        away, near = tree.query(places)
        at = np.flatnonzero((away < ON_ROOT_IN) & shown[near] & ~trace.inferred)
        alone = np.zeros(len(at), np.bool_)
        for row, k in enumerate(at.tolist()):
            others = np.array(tree.query_ball_point(places[k], 0.5), dtype=int)
            others = others[(owner[others] != owner[near[k]]) & shown[others]]
            clear = np.hypot(*(seen[others] - places[k]).T) - (width[others] + width[near[k]]) / 2
            alone[row] = clear.min(initial=np.inf) >= CLEAR_IN
        yield Matched(number, trace, at, width[near[at]], alone)


def compared(walls: Iterable[ReadWall]) -> NDArray[np.float64]:
    """A row a point: width, its error, true width (px), alone, number of the root."""
    rows, before = [], 0
    for wall in walls:
        px_per_in = wall.image.grid.px_per_in
        for one in matched(wall):
            width_px = one.trace.width_in[one.at] * px_per_in
            se_px = np.full(len(one.at), one.trace.width_se_in * px_per_in)
            number = np.full(len(one.at), before + one.number)
            rows.append(np.column_stack([width_px, se_px, one.true_in * px_per_in, one.alone, number]))
        before += len(wall.traces)
    return np.concatenate(rows)


def fit_softness(walls: Iterable[ReadWall]) -> None:
    """Print the softness of edges that is usual, and by how much more of it widens a root."""
    found = []
    for wall in walls:
        grey, px_per_in = soft_grey(wall.image), wall.image.grid.px_per_in
        for one in matched(wall):
            points_px, width_px = wall.image.grid.to_px(one.trace.points), one.trace.width_in * px_per_in
            edges = find_edges(grey, wall.root_map.probability, points_px, width_px)
            seen = np.column_stack(
                [edges.apart_px, edges.scatter_px, edges.softness_px, edges.finder_px, edges.mask_px]
            )
            true_px = one.true_in * px_per_in
            some = one.alone & (true_px > FITTED_FROM_PX)
            found.append(np.column_stack([true_px[some], seen[one.at][some]]))
    true, *seen_px = np.concatenate(found).T

    def off(asked: NDArray[np.float64]) -> NDArray[np.float64]:
        """How far widths are off, on a log scale."""
        return np.log(width_between(Edges(*seen_px), *asked)[0] / true)

    fitted = least_squares(off, (USUAL_SOFTNESS_PX, SOFTNESS_WIDENS), loss="soft_l1", f_scale=0.05).x
    print(f"{len(true)} points: usual softness {fitted[0]:.2f} px, widens by {fitted[1]:.1f}")


def print_widths(title: str, rows: NDArray[np.float64]) -> None:
    """A row a class of width, and one for all from 2.5 px on."""
    heads = ("true width, px", "points", "bias %", "median error %", "of roots %", "in 1 se %", "in 2 se %")
    print(f"\n{title}\n\n| {' | '.join(heads)} |\n" + "|---" * len(heads) + "|")
    classes = [*itertools.pairwise(BINS_PX), (2.5, BINS_PX[-1])]
    for name, subset in (("alone", rows[rows[:, 3] > 0]), ("touching", rows[rows[:, 3] == 0])):
        for low, high in classes if name == "alone" else classes[-1:]:
            some = subset[(subset[:, 2] >= low) & (subset[:, 2] < high)]
            if len(some) < FEWEST_POINTS:
                continue
            width, se, true, _, number = some.T
            off = width / true - 1
            by_root = [off[number == root] for root in np.unique(number)]
            of_roots = [abs(np.median(each)) for each in by_root if len(each) >= FEWEST_POINTS]
            within = np.abs(width - true) / se
            print(
                f"| {low:g}-{high:g} {name} | {len(some)} | {100 * np.median(off):.1f} "
                f"| {100 * np.median(np.abs(off)):.1f} | {100 * np.median(of_roots):.1f} "
                f"| {100 * (within < 1).mean():.0f} | {100 * (within < 2).mean():.0f} |"
            )


def main() -> None:
    options = fitting_options(__doc__ or "")
    if options.fit:
        seeds = [s for first in (TRAINING_SEED, KEPT_SEED, WAVY_SEED) for s in wall_list(first, options.each)]
        fit_softness(only_read(read_walls(seeds, options.cache, options.stale)))
        return
    walls = read_walls(wall_list(HELD_OUT_SEED, options.each), options.cache, options.stale)
    print_widths("Made walls of held-out seeds", compared(only_read(walls)))
    if not options.no_benchmark:
        print_widths("Benchmark walls", compared(benchmark_walls()))


if __name__ == "__main__":
    main()

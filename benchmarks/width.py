"""Width of roots against truth: error, bias, and whether the stated error is right, by width in pixels.

usage: python benchmarks/width.py [--each N] [--cache DIR] [--no-benchmark]

Points of traces within 0.06 in of a visible true root, bridged stretches left
out, on made walls of held-out seeds and on the benchmark walls. *Alone* is
where no other root's flank is within 0.04 in; elsewhere one root hides part of
the other, and its visible width is not its own.
"""

import argparse
import itertools
from collections.abc import Iterable
from pathlib import Path

import numpy as np
from confidence import only_read
from made_walls import HELD_OUT_SEED, ReadWall, cache_folder, read_walls, wall_list
from matching import benchmark_walls, to_truth
from numpy.typing import NDArray
from scipy.spatial import cKDTree

ON_ROOT_IN = 0.06
CLEAR_IN = 0.04
BINS_PX = (1.0, 2.5, 3.5, 5.0, 8.0, 14.0, 40.0)
FEWEST_POINTS = 10
"""A root with fewer points is left out of the column of roots."""


def compared(walls: Iterable[ReadWall]) -> NDArray[np.float64]:
    """A row a point: width, its error, true width (px), alone, number of the root."""
    rows, roots = [], itertools.count()
    for wall in walls:
        px_per_in = wall.image.grid.px_per_in
        seen = np.concatenate([root.seen for root in wall.truth.roots])
        width = np.concatenate([root.width_in for root in wall.truth.roots])
        shown = np.concatenate([root.visible for root in wall.truth.roots])
        owner = np.repeat(np.arange(len(wall.truth.roots)), [len(root.seen) for root in wall.truth.roots])
        tree = cKDTree(seen)
        for trace in wall.traces:
            places = to_truth(trace.points, wall.plane, wall.truth)
            away, near = tree.query(places)
            number = next(roots)
            for k in np.flatnonzero((away < ON_ROOT_IN) & shown[near] & ~trace.inferred).tolist():
                others = np.array(tree.query_ball_point(places[k], 0.5), dtype=int)
                others = others[(owner[others] != owner[near[k]]) & shown[others]]
                clear = np.hypot(*(seen[others] - places[k]).T) - (width[others] + width[near[k]]) / 2
                alone = bool(clear.min(initial=np.inf) >= CLEAR_IN)
                measured = (trace.width_in[k], trace.width_se_in, width[near[k]])
                rows.append([*(value * px_per_in for value in measured), alone, number])
    return np.array(rows)


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
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--each", type=int, default=8, help="made walls of each kind")
    parser.add_argument("--cache", type=Path, default=cache_folder())
    parser.add_argument("--no-benchmark", action="store_true", help="made walls alone")
    options = parser.parse_args()
    walls = read_walls(wall_list(HELD_OUT_SEED, options.each), options.cache)
    print_widths("Made walls of held-out seeds", compared(only_read(walls)))
    if not options.no_benchmark:
        print_widths("Benchmark walls", compared(benchmark_walls()))


if __name__ == "__main__":
    main()

"""What a trace's confidence is worth: of traces with confidence 0.9, how many are right?

usage: python benchmarks/confidence.py [--each N] [--cache DIR] [--stale] [--no-benchmark]   the tables
       python benchmarks/confidence.py --fit [--each N] [--cache DIR] [--stale]              fit it anew

Right: at least 70 % of the trace lies within 0.1 in of one and the same true
root, so it is no straw and does not join two. Whole: right, and at least 70 %
of that root lies along the trace. ``--fit`` reads made walls of training seeds
and writes ``rootread/follow/confidence.json``; the tables are of made walls of
held-out seeds and of the benchmark walls.
"""

import itertools
import json
from collections.abc import Iterable

import numpy as np
from logistic import fitted_chance
from made_walls import HELD_OUT_SEED, TRAINING_SEED, ReadWall, fitting_options, read_walls, wall_list
from matching import Match, benchmark_walls, matches
from numpy.typing import NDArray

from rootread.follow.confidence import FITTED, chance, trace_features

BINS = (0.0, 0.3, 0.5, 0.7, 0.8, 0.85, 0.95, 1.0)
Table = tuple[NDArray[np.float64], list[Match]]


def only_read(walls: Iterable[ReadWall | tuple[str, str]]) -> Iterable[ReadWall]:
    """Walls that were read; the others are named."""
    for wall in walls:
        if isinstance(wall, ReadWall):
            yield wall
        else:
            print(f"{wall[0]} refused: {wall[1]}")


def fit(walls: Iterable[ReadWall]) -> dict[str, list[float]]:
    """Weight and mean of every feature, by ridge logistic regression on which traces are right."""
    rows, right = [], []
    for wall in walls:
        features = trace_features(wall.traces, wall.root_map, wall.image)
        names = list(features)
        rows.append(np.column_stack(list(features.values())))
        right += [match.right for match in matches(wall.traces, wall.plane, wall.truth)]
    truth = np.array(right)
    print(f"{len(truth)} traces, {truth.mean():.0%} right; ", end="")
    return fitted_chance(names, np.concatenate(rows), truth)


def rated(walls: Iterable[ReadWall]) -> Table:
    """Confidence and match of every trace."""
    confidence: list[float] = []
    found: list[Match] = []
    for wall in walls:
        if wall.traces:
            confidence += list(chance(trace_features(wall.traces, wall.root_map, wall.image)))
        found += matches(wall.traces, wall.plane, wall.truth)
    return np.array(confidence), found


def print_reliability(title: str, table: Table) -> None:
    """A row a class of confidence: traces, mean confidence, share right, share whole."""
    confidence, found = table
    right = np.array([match.right for match in found])
    whole = np.array([match.whole for match in found])
    joined = np.mean([match.joins_roots for match in found])
    shares = f"{right.mean():.0%} right, {whole.mean():.0%} whole, {joined:.0%} join roots"
    print(f"\n{title}: {len(confidence)} traces, {shares}\n")
    print("| confidence | traces | mean | right % | whole % |\n|---|---|---|---|---|")
    for low, high in itertools.pairwise(BINS):
        here = (confidence >= low) & (confidence < high)
        if here.any():
            print(
                f"| {low:.2f}-{high:.2f} | {here.sum()} | {confidence[here].mean():.2f} "
                f"| {100 * right[here].mean():.0f} | {100 * whole[here].mean():.0f} |"
            )


def main() -> None:
    options = fitting_options(__doc__ or "")
    if options.fit:
        walls = read_walls(wall_list(TRAINING_SEED, options.each), options.cache, options.stale)
        FITTED.write_text(json.dumps(fit(only_read(walls)), indent=1) + "\n", encoding="utf-8")
        return
    walls = read_walls(wall_list(HELD_OUT_SEED, options.each), options.cache, options.stale)
    print_reliability("Made walls of held-out seeds", rated(only_read(walls)))
    if not options.no_benchmark:
        print_reliability("Benchmark walls", rated(benchmark_walls()))


if __name__ == "__main__":
    main()

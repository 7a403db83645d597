"""How many roots are followed whole, and how many traces join two: walls that following never learnt from.

usage: python benchmarks/following.py [--each 24] [--jobs 2] [--stale]

Some of the made walls have roots that wiggle little, some have twisted ones. On others, all of
them blocked, most main roots turn at a shallow layer and run along it side by side: the hardest to follow.
Making and reading a wall takes half a minute the first time, following it two seconds.
"""

import argparse
import multiprocessing
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from accuracy import length_error, main_roots, whole_roots
from made_walls import KEPT_SEED, WAVY_SEED, ReadWall, cache_folder, hindered_list, read_walls, wall_list
from matching import matches, to_truth
from truth import every_step

SETS = {
    "little wiggle": lambda each: wall_list(KEPT_SEED, each),
    "twisted": lambda each: wall_list(WAVY_SEED, each),
    "hindered": hindered_list,
}
"""Lists of so many walls of a kind."""


@dataclass(frozen=True)
class Followed:
    """What became of the roots of one wall."""

    main: int
    """Roots at least 4 in long and 60 % visible."""
    whole: int
    traces: int
    joined: int
    right: int
    length_error_pct: float


def followed(wall: ReadWall) -> Followed:
    """Compare a wall's traces with its true roots."""
    lines = [every_step(to_truth(trace.points, wall.plane, wall.truth)) for trace in wall.traces]
    lines = [line for line in lines if len(line) > 1]
    found = matches(wall.traces, wall.plane, wall.truth)
    return Followed(
        main=len(main_roots(wall.truth)),
        whole=len(whole_roots(wall.truth, lines)),
        traces=len(found),
        joined=sum(match.joins_roots for match in found),
        right=sum(match.right for match in found),
        length_error_pct=length_error(wall.truth, sum(map(len, lines))),
    )


def _one(work: tuple[tuple[str, int], Path, bool]) -> Followed | None:
    wall, cache, stale = work
    cv2.setNumThreads(1)
    (read,) = read_walls([wall], cache, stale)
    return followed(read) if isinstance(read, ReadWall) else None


def follow_set(walls: list[tuple[str, int]], cache: Path, stale: bool, jobs: int) -> Iterator[Followed]:
    """What became of the roots of some walls, refused ones left out."""
    work = [(wall, cache, stale) for wall in walls]
    with multiprocessing.get_context("spawn").Pool(jobs) as pool:
        yield from (one for one in pool.imap(_one, work) if one)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--each", type=int, default=24, help="walls of each kind")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--cache", type=Path, default=cache_folder())
    parser.add_argument("--stale", action="store_true", help="use what is kept, whatever the code")
    options = parser.parse_args()
    print("| roots | walls | whole of main | % | join roots % | right % | length error % |")
    print("|---|---|---|---|---|---|---|")
    for name, listed in SETS.items():
        walls = list(follow_set(listed(options.each), options.cache, options.stale, options.jobs))
        main_count, whole, traces = (
            sum(getattr(one, k) for one in walls) for k in ("main", "whole", "traces")
        )
        joined, right = (sum(getattr(one, k) for one in walls) for k in ("joined", "right"))
        error = np.mean([one.length_error_pct for one in walls])
        print(
            f"| {name} | {len(walls)} | {whole} of {main_count} | {100 * whole / main_count:.1f} "
            f"| {100 * joined / traces:.1f} | {100 * right / traces:.1f} | {error:.1f} |",
            flush=True,
        )


if __name__ == "__main__":
    main()

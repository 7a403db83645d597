"""Which true root a trace follows, and how much of each lies along the other."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from made_walls import SETTINGS, ReadWall
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from truth import Points, Truth, every_step

from rootread.fieldsheet import default_row
from rootread.find import find_roots
from rootread.follow import Trace, follow_roots
from rootread.photo import read_photo
from rootread.plane import WallPlane, find_plane, lay_flat

NEAR_IN = 0.10
OVERLAP = 0.7
SHARED = Path(__file__).resolve().parents[2] / "shared"


@dataclass(frozen=True)
class Match:
    """The true root that most of a trace lies along, and the overlap both ways."""

    of_trace: float
    """Share of the trace within 0.1 in of that one root."""
    of_root: float
    """Share of that root within 0.1 in of the trace; the largest, where several roots hold the trace."""
    on_roots: float
    """Share of the trace within 0.1 in of any root."""

    @property
    def right(self) -> bool:
        """One root and no other: 70 % of the trace lies along it."""
        return self.of_trace > OVERLAP

    @property
    def whole(self) -> bool:
        """The same, and 70 % of the root lies along the trace."""
        return self.right and self.of_root > OVERLAP

    @property
    def joins_roots(self) -> bool:
        """It lies on roots, but no one root holds 70 % of it."""
        return self.on_roots > OVERLAP and not self.right


def to_truth(points_in: Points, plane: WallPlane, truth: Truth) -> Points:
    """Places in the wall as it was read, in truth inches."""
    return truth.from_photo(plane.to_photo_px(points_in))


def matches(traces: tuple[Trace, ...], plane: WallPlane, truth: Truth) -> list[Match]:
    """The match of every trace."""
    trees = [cKDTree(root.seen) for root in truth.roots]
    every = np.concatenate([root.seen for root in truth.roots])
    owner = np.repeat(np.arange(len(trees)), [len(root.seen) for root in truth.roots])
    found = cKDTree(every)
    result = []
    for trace in traces:
        points = every_step(to_truth(trace.points, plane, truth))
        near = {int(owner[k]) for places in found.query_ball_point(points, NEAR_IN) for k in places}
        of_trace, of_root = 0.0, 0.0
        tree = cKDTree(points)
        for number in near:
            share = _share_near(points, trees[number])
            of_trace = max(of_trace, share)
            if share > OVERLAP:
                of_root = max(of_root, _share_near(truth.roots[number].seen, tree))
        result.append(Match(of_trace, of_root, _share_near(points, found)))
    return result


def _share_near(points: Points, tree: cKDTree) -> float:
    distance: NDArray[np.float64] = tree.query(points, distance_upper_bound=NEAR_IN)[0]
    return float((distance < NEAR_IN).mean())


def benchmark_walls() -> Iterator[ReadWall]:
    """The benchmark walls, read up to their traces, where they are there."""
    for photo in sorted((SHARED / "walls").glob("*.jpg")):
        taken = read_photo(photo, SETTINGS.photo)
        plane = find_plane(taken, default_row(photo.name), None, SETTINGS.plane)
        image = lay_flat(taken, plane, SETTINGS.plane)
        root_map = find_roots(image, SETTINGS.find)
        traces = follow_roots(root_map, image, plane.surface, SETTINGS.follow)
        truth = Truth(SHARED / "walls-truth" / f"{photo.stem}.json")
        yield ReadWall(photo.stem, photo.stem.split("-")[1], truth, plane, image, root_map, traces)

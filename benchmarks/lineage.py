"""Base, order, parent, crown and cut: of the traces that follow one true root, how many are told right?

usage: python benchmarks/lineage.py [--each N] [--cache DIR] [--stale] [--no-benchmark]   the tables
       python benchmarks/lineage.py --fit [--each N] [--cache DIR] [--stale]              fit it anew

A trace follows a true root when 70 % of it lies within 0.1 in of it. Its base is
right when it is the end nearer to that root's own base, its order when main and
lateral are told apart, its parent when that trace follows the true parent.
``parent there`` asks only those that leave their parent where it is followed,
``parent seen`` those of them whose first stretch no other root or soil hides.
Crowns are held against where the bases of true main roots gather. ``--fit``
reads made walls of training seeds and writes ``rootread/follow/lineage.json``.
"""

import json
from collections.abc import Iterable
from dataclasses import dataclass, fields

import cv2
import numpy as np
from confidence import only_read
from logistic import SHRINK, print_weights
from made_walls import (
    HELD_OUT_SEED,
    KEPT_SEED,
    SETTINGS,
    TRAINING_SEED,
    ReadWall,
    fitting_options,
    read_walls,
    wall_list,
)
from matching import NEAR_IN, OVERLAP, benchmark_walls, to_truth
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.spatial import cKDTree
from truth import STEP_IN, Points, Truth, every_step

from rootread.follow import Trace
from rootread.follow.courses import follow_courses
from rootread.follow.crowns import find_crowns
from rootread.follow.kinship import MAIN, STRAY, Kinship, possible_kinship
from rootread.follow.lineage import FITTED
from rootread.geometry import arc_length
from rootread.plane import WallPlane

CROWN_NEAR_IN = 0.5
CROWN_APART_IN = 1.5
"""True bases farther apart than this along the wall are of two crowns."""
CROWN_ROOTS = 3
"""Fewer bases are no crown."""
LEAVES_IN = 0.25
"""A lateral's true base lies no farther than this from a trace that follows its parent there."""
SEEN_IN = 0.15
"""A lateral is seen to leave its parent when this much of it, from the parent's flank on, is visible."""
BEYOND_IN = 0.3
"""What a root does this far beyond a trace's end says whether it was cut there."""


@dataclass(frozen=True)
class Told:
    """How many were asked of each, and how many of them were right."""

    base: tuple[int, int] = (0, 0)
    main: tuple[int, int] = (0, 0)
    """Order of traces on main roots."""
    lateral: tuple[int, int] = (0, 0)
    parent: tuple[int, int] = (0, 0)
    parent_there: tuple[int, int] = (0, 0)
    parent_seen: tuple[int, int] = (0, 0)
    cut: tuple[int, int] = (0, 0)
    """Of traces that are truly cut."""
    uncut: tuple[int, int] = (0, 0)
    crown: tuple[int, int] = (0, 0)
    """True crowns that were found."""
    crown_real: tuple[int, int] = (0, 0)
    """Crowns found that are true."""

    def __add__(self, other: "Told") -> "Told":
        mine, theirs = (
            [np.array(getattr(one, field.name)) for field in fields(Told)] for one in (self, other)
        )
        return Told(*(tuple((a + b).tolist()) for a, b in zip(mine, theirs, strict=True)))


@dataclass(frozen=True, eq=False)
class Followed:
    """The true root that each trace follows, and where on it the trace begins and ends."""

    root: NDArray[np.int64]
    """``(R,)`` index of the true root; -1 where a trace follows none."""
    along_in: NDArray[np.float64]
    """``(R, 2)`` way along that root at the trace's first and last point."""
    points: list[Points]
    """Each trace in truth inches, a point every 0.05 in."""


def followed(traces: Iterable[Trace], plane: WallPlane, truth: Truth) -> Followed:
    """Of several true roots that hold a trace the nearest is the one it follows."""
    points = [every_step(to_truth(trace.points, plane, truth)) for trace in traces]
    trees = [cKDTree(root.seen) for root in truth.roots]
    every = np.concatenate([root.seen for root in truth.roots])
    owner = np.repeat(np.arange(len(trees)), [len(root.seen) for root in truth.roots])
    found = cKDTree(every)
    of_trace, along = np.full(len(points), -1), np.zeros((len(points), 2))
    for index, line in enumerate(points):
        best_in = np.inf
        for number in sorted({int(owner[k]) for near in found.query_ball_point(line, NEAR_IN) for k in near}):
            away, at = trees[number].query(line)
            if (away < NEAR_IN).mean() > OVERLAP and away.clip(max=NEAR_IN).mean() < best_in:
                best_in, of_trace[index] = float(away.clip(max=NEAR_IN).mean()), number
                along[index] = arc_length(truth.roots[number].seen)[at[[0, -1]]]
    return Followed(of_trace, along, points)


@dataclass(frozen=True, eq=False)
class TrueKin:
    """The true origin of one trace."""

    base_end: int
    """0 where its first point is nearer to the base, 1 where its last is."""
    is_lateral: bool
    parents: tuple[int, ...]
    """Traces that follow the true parent."""
    there: bool
    """One of them does so where the lateral leaves it."""
    seen: bool
    """And the photo shows the lateral leaving it."""


def true_kin(found: Followed, truth: Truth) -> list[TrueKin | None]:
    """The true origin of every trace that follows a root."""
    number = {root["id"]: k for k, root in enumerate(truth.raw["roots"])}
    result: list[TrueKin | None] = []
    for root, (first, last) in zip(found.root.tolist(), found.along_in, strict=True):
        if root < 0:
            result.append(None)
            continue
        raw = truth.raw["roots"][root]
        parent = number.get(raw["parent"], -1) if raw["order"] else -1
        parents = np.flatnonzero(found.root == parent) if parent >= 0 else np.array([], dtype=int)
        base = truth.roots[root].seen[0]
        there = any(np.hypot(*(found.points[j] - base).T).min() < LEAVES_IN for j in parents)
        seen = there and _leaves_visibly(truth, root, parent)
        result.append(TrueKin(int(first > last), raw["order"] > 0, tuple(parents.tolist()), there, seen))
    return result


def _leaves_visibly(truth: Truth, root: int, parent: int) -> bool:
    mother = truth.roots[parent]
    at = int(np.hypot(*(mother.points - truth.roots[root].points[0]).T).argmin())
    start = int(np.ceil(mother.width_in[at] / 2 / STEP_IN))
    first = truth.roots[root].visible[start : start + round(SEEN_IN / STEP_IN)]
    return bool(len(first) and first.all())


def told(traces: tuple[Trace, ...], plane: WallPlane, truth: Truth) -> Told:
    """What of one wall's lineage is right."""
    found = followed(traces, plane, truth)
    index = {trace.id: k for k, trace in enumerate(traces)}
    right: dict[str, list[bool]] = {field.name: [] for field in fields(Told)}
    for k, (trace, kin) in enumerate(zip(traces, true_kin(found, truth), strict=True)):
        if kin is None:
            continue
        right["base"].append(kin.base_end == 0)
        right["lateral" if kin.is_lateral else "main"].append((trace.order > 0) == kin.is_lateral)
        is_right = trace.parent is not None and index[trace.parent] in kin.parents
        for name, asked in (("parent", kin.parents), ("parent_there", kin.there), ("parent_seen", kin.seen)):
            if asked:
                right[name].append(is_right)
        is_cut = truly_cut(found, k, plane, truth)
        right["cut" if is_cut else "uncut"].append(trace.cut == is_cut)
    true_crowns = crowns_of(truth)
    ours = to_truth(find_crowns(traces, plane.surface).places_in, plane, truth)
    right["crown"] = _near(true_crowns, ours)
    right["crown_real"] = _near(ours, true_crowns)
    return Told(**{name: (len(values), sum(values)) for name, values in right.items()})


def _near(places: Points, others: Points) -> list[bool]:
    apart = np.hypot(*np.moveaxis(places[:, None] - others[None], -1, 0))
    return list((apart < CROWN_NEAR_IN).any(axis=1))


def crowns_of(truth: Truth) -> Points:
    """``(C, 2)`` where bases of true main roots gather, as the photo shows them."""
    main = [root for root, raw in zip(truth.roots, truth.raw["roots"], strict=True) if raw["order"] == 0]
    base = np.array([root.seen[0] for root in main if root.visible.any()]).reshape(-1, 2)
    base = base[np.argsort(base[:, 0])]
    groups = np.split(base, np.flatnonzero(np.diff(base[:, 0]) > CROWN_APART_IN) + 1)
    return np.array([group.mean(axis=0) for group in groups if len(group) >= CROWN_ROOTS]).reshape(-1, 2)


def truly_cut(found: Followed, trace: int, plane: WallPlane, truth: Truth) -> bool:
    """The true root goes on, from an end of the trace, beyond the photo or behind the scale object."""
    root = truth.roots[int(found.root[trace])]
    along = arc_length(root.seen)
    low, high = np.sort(found.along_in[trace])
    beyond = [
        [np.interp(at.clip(0, along[-1]), along, root.seen[:, k]) for k in (0, 1)]
        for at in (low - np.arange(0, BEYOND_IN, 0.05), high + np.arange(0, BEYOND_IN, 0.05))
    ]
    places = np.concatenate([np.column_stack(end) for end in beyond])
    photo_px = truth.to_photo(places)
    outside = ((photo_px < 0) | (photo_px > np.array(truth.size_px) - 1)).any()
    behind = any(_inside(outline, place) for place in photo_px for outline in plane.scale.outlines_px)
    return bool(outside or behind)


def _inside(outline_px: Points, place_px: Points) -> bool:
    return cv2.pointPolygonTest(outline_px.astype(np.float32), tuple(map(float, place_px)), False) >= 0


def true_rows(wall: ReadWall) -> tuple[Kinship, NDArray[np.int64]]:
    """What is seen of every possible origin of a wall's roots, and the rows of the true ones."""
    traces = follow_courses(wall.root_map, wall.image, wall.plane.surface, SETTINGS.follow)
    kinship = possible_kinship(
        [trace.points for trace in traces], [trace.width_in for trace in traces], wall.plane.surface
    )
    found = followed(traces, wall.plane, wall.truth)
    rows = []
    for k, kin in enumerate(true_kin(found, wall.truth)):
        if kin is None:
            continue
        here = np.flatnonzero((kinship.root == k) & (kinship.end == kin.base_end))
        parent = kinship.parent[here]
        of_parents = here[np.isin(parent, kin.parents)]
        if not kin.is_lateral:
            rows.append(int(here[parent == MAIN][0]))
        elif len(of_parents):
            rows.append(int(of_parents[np.argmin(kinship.features["host_way"][of_parents])]))
        else:
            rows.append(int(here[parent == STRAY][0]))
    return kinship, np.array(rows, dtype=int)


def fit(walls: Iterable[ReadWall]) -> dict[str, float]:
    """Weight of every feature, by ridge conditional logit on the true origins of traces."""
    values, is_true, group = [], [], []
    for wall in walls:
        kinship, rows = true_rows(wall)
        names = list(kinship.features)
        asked = np.flatnonzero(np.isin(kinship.root, kinship.root[rows]))
        asked = asked[np.argsort(kinship.root[asked], kind="stable")]
        values.append(np.column_stack(list(kinship.features.values()))[asked])
        is_true.append(np.isin(asked, rows))
        group.append(np.diff(kinship.root[asked], prepend=-1) != 0)
    table, true = np.concatenate(values), np.concatenate(is_true)
    first = np.flatnonzero(np.concatenate(group))
    count = np.diff(np.append(first, len(true)))
    is_constant = np.array([name.endswith("always") for name in names])
    spread = np.where(is_constant, 1.0, np.maximum(table.std(axis=0), 1e-9))
    scaled, shrink = table / spread, np.where(is_constant, 0.05, SHRINK)

    def loss(weight: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        score = scaled @ weight
        best = np.maximum.reduceat(score, first)
        raised = np.exp(score - np.repeat(best, count))
        total = np.add.reduceat(raised, first)
        misfit = raised / np.repeat(total, count) - true
        return (
            float((np.log(total) + best).sum() - score[true].sum() + (shrink * weight**2).sum() / 2),
            scaled.T @ misfit + shrink * weight,
        )

    weight = minimize(loss, np.zeros(len(names)), jac=True, method="L-BFGS-B", options={"maxiter": 2000}).x
    print(f"{len(first)} traces; ", end="")
    print_weights(names, weight)
    return {name: round(float(w / s), 4) for name, w, s in zip(names, weight, spread, strict=True)}


def print_table(title: str, rows: list[tuple[str, Told]]) -> None:
    """A row a wall, counts as ``right / asked``, and the percentage of all."""
    names = [field.name for field in fields(Told)]
    print(f"\n{title}\n\n| wall | {' | '.join(name.replace('_', ' ') for name in names)} |")
    print("|---" * (len(names) + 1) + "|")
    for wall, one in rows:
        counts = [getattr(one, name) for name in names]
        print(f"| {wall} | {' | '.join(f'{right}/{asked}' for asked, right in counts)} |")
    total = sum((one for _, one in rows), Told())
    shares = [100 * right / max(asked, 1) for asked, right in (getattr(total, name) for name in names)]
    print(f"| **all** | {' | '.join(f'{share:.0f} %' for share in shares)} |")


def main() -> None:
    options = fitting_options(__doc__ or "")
    if options.fit:
        seeds = wall_list(TRAINING_SEED, options.each) + wall_list(KEPT_SEED, options.each)
        weights = fit(only_read(read_walls(seeds, options.cache, options.stale)))
        FITTED.write_text(json.dumps(weights, indent=1) + "\n", encoding="utf-8")
        return
    made: Iterable[ReadWall] = only_read(
        read_walls(wall_list(HELD_OUT_SEED, options.each), options.cache, options.stale)
    )
    print_table("Made walls of held-out seeds", [(w.name, told(w.traces, w.plane, w.truth)) for w in made])
    if not options.no_benchmark:
        rows = [(w.name, told(w.traces, w.plane, w.truth)) for w in benchmark_walls()]
        print_table("Benchmark walls", rows)


if __name__ == "__main__":
    main()

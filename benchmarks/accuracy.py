"""Accuracy on walls with known truth: every figure of the design's table, a row a wall and in total.

usage: python benchmarks/accuracy.py [--walls PHOTOS TRUTH] [--scenes N] [--out DIR] [--jobs N]

Reads PHOTOS (by default ../shared/walls, when it is there, and N scenes of
held-out seeds otherwise) with ``rootread grade`` and compares with the truth.
A scene's seed is 900000 and up; training and tuning stay below.
"""

import argparse
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.spatial import cKDTree
from true_walls import true_flattened_share
from truth import STEP_IN, Points, Result, TrueRoot, Truth, read_table

from rootread.batch import grade_walls, plan_walls

NEAR_IN = 0.10
WHOLE_SHARE = 0.7
HELD_OUT_SEED = 900_000


@dataclass(frozen=True)
class Score:
    """The figures of one wall; NaN where a figure does not apply."""

    wall: str
    scale_error_pct: float
    scale_in_two_se: float
    level_error_deg: float
    recall: float
    precision: float
    length_error_pct: float
    descent_error_deg: float
    descent_in_interval: float
    tortuosity_error_pct: float
    flattened_error: float
    whole_pct: float
    layer_error_in: float
    layers_missed: int
    layers_invented: int
    seconds: float


def score_wall(truth: Truth, result: Result) -> Score:
    """Compare one reading with its truth; definitions as in the reference scorer."""
    scale_error, level_error = result.similarity_to(truth)
    scale_se_pct = 100 * float(result.row["px_per_in_se"]) / float(result.row["px_per_in"])
    traces = result.traces_in_truth(truth)
    found = np.concatenate(traces) if traces else np.empty((0, 2))
    seen = np.concatenate([root.seen for root in truth.roots])
    wanted = np.concatenate([root.seen[root.needed] for root in truth.roots])
    tortuosity_errors = whole_roots(truth, traces)
    descent = true_descent(truth)
    layer_error, missed, invented = _layers(truth, result)
    return Score(
        wall=truth.name,
        scale_error_pct=scale_error,
        scale_in_two_se=float(abs(scale_error) <= 2 * scale_se_pct),
        level_error_deg=level_error,
        recall=_share_near(wanted, found),
        precision=_share_near(found, seen),
        length_error_pct=length_error(truth, len(found)),
        descent_error_deg=float(result.row["descent_deg"] or "nan") - descent,
        descent_in_interval=float(
            float(result.row["descent_low"] or "nan") <= descent <= float(result.row["descent_high"] or "nan")
        ),
        tortuosity_error_pct=float(np.median(tortuosity_errors)) if tortuosity_errors else float("nan"),
        flattened_error=float(result.row["flattened_share"] or "nan") - true_flattened_share(truth),
        whole_pct=100 * len(tortuosity_errors) / max(len(main_roots(truth)), 1),
        layer_error_in=layer_error,
        layers_missed=missed,
        layers_invented=invented,
        seconds=float(result.row["seconds"]),
    )


def _share_near(points: Points, others: Points) -> float:
    if not len(points):
        return float("nan")
    return float((cKDTree(others).query(points)[0] < NEAR_IN).mean()) if len(others) else 0.0


def length_error(truth: Truth, found: int) -> float:
    """Percent outside what is right: from the visible length to the span it covers."""
    visible = sum(int(root.visible.sum()) for root in truth.roots)
    span = sum(root.visible_span for root in truth.roots)
    return 100 * (found / float(np.clip(found, visible, span)) - 1)


def true_descent(truth: Truth) -> float:
    """Mean over points of the descent of a 1-in chord around each, base to tip turned downward."""
    reach = round(0.5 / STEP_IN)
    total, count = 0.0, 0
    for root in truth.roots:
        points = root.points[root.needed]
        if len(points) <= 10:
            continue
        at = np.arange(len(points))
        chord = points[np.minimum(at + reach, len(points) - 1)] - points[np.maximum(at - reach, 0)]
        chord = -chord if points[-1, 1] < points[0, 1] else chord
        total += float(np.degrees(np.arctan2(chord[:, 1], np.abs(chord[:, 0]))).sum())
        count += len(points)
    return total / count


def main_roots(truth: Truth) -> list[TrueRoot]:
    """Roots that are to be followed whole: at least 4 in long and 60 % visible."""
    return [root for root in truth.roots if root.length_in >= 4 and root.needed.mean() >= 0.6]


def whole_roots(truth: Truth, traces: list[Points]) -> list[float]:
    """For each main root that a trace follows whole, the error of the trace's tortuosity in per cent."""
    trees = [cKDTree(trace) for trace in traces]
    errors = []
    for root in main_roots(truth):
        own = cKDTree(root.seen)
        for trace, tree in zip(traces, trees, strict=True):
            covered = (tree.query(root.seen, distance_upper_bound=NEAR_IN)[0] < NEAR_IN).mean()
            if covered <= WHOLE_SHARE or (own.query(trace)[0] < NEAR_IN).mean() <= WHOLE_SHARE:
                continue
            first, last = sorted(own.query(trace[[0, -1]])[1])
            true = (last - first) * STEP_IN / max(_distance(root.seen[[first, last]]), 0.1)
            errors.append(100 * abs(len(trace) * STEP_IN / max(_distance(trace[[0, -1]]), 0.1) / true - 1))
            break
    return errors


def _distance(ends: Points) -> float:
    return float(np.hypot(*(ends[1] - ends[0])))


def _layers(truth: Truth, result: Result) -> tuple[float, int, int]:
    """Largest depth error of the layers that roots show, those missed by over 1 in, and those invented."""
    found = [float(row["depth_in"]) for row in result.layers if float(row["p_value"]) < 0.05]

    def nearest(depth: float, others: list[float]) -> float:
        return min((abs(depth - other) for other in others), default=float("inf"))

    misses = [nearest(depth, found) for depth in truth.shown_layer_depths_in]
    error = max((miss for miss in misses if miss <= 1), default=float("nan"))
    invented = sum(nearest(depth, truth.layer_depths_in) > 1 for depth in found)
    return error, sum(miss > 1 for miss in misses), invented


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    shared = Path(__file__).resolve().parents[2] / "shared"
    parser.add_argument("--walls", nargs=2, type=Path, metavar=("PHOTOS", "TRUTH"))
    parser.add_argument("--scenes", type=int, default=0, help="made walls instead, this many of each kind")
    parser.add_argument("--out", type=Path, help="keep the reading here")
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        if options.walls:
            photos, truths = options.walls
        elif (shared / "walls").is_dir() and not options.scenes:
            photos, truths = shared / "walls", shared / "walls-truth"
        else:
            photos = truths = make_scenes(Path(scratch) / "scenes", options.scenes or 4)
        out = options.out or Path(scratch) / "out"
        plan = plan_walls(sorted(photos.glob("*.jpg")))
        grade_walls(plan, out, workers=options.jobs)
        print_scores(*score_folder(truths, out))


def make_scenes(folder: Path, per_kind: int) -> Path:
    """Made walls of held-out seeds, the same number of each kind."""
    from rootread.scene import KINDS, draw_scene, render, write_scene

    for place, kind in enumerate(sorted(KINDS)):
        for number in range(per_kind):
            seed = HELD_OUT_SEED + 1000 * place + number
            scene = draw_scene(np.random.default_rng(seed), kind=kind)
            write_scene(render(scene), folder, f"{kind}-{seed}")
    return folder


def score_folder(truths: Path, out: Path) -> tuple[list[Score], dict[str, str]]:
    """Scores of the walls that were read, and the reasons of those refused."""
    rows, layers = read_table(out / "walls.csv"), read_table(out / "layers.csv")
    scores, refused = [], {}
    for path in sorted(truths.glob("*.json")):
        row = rows[path.stem][0]
        if row["status"] == "read":
            result = Result(out, row, layers.get(path.stem, []))
            scores.append(score_wall(Truth(path), result))
        else:
            refused[path.stem] = row["reason"]
    return scores, refused


COLUMNS = {
    "scale_error_pct": "scale %",
    "level_error_deg": "level deg",
    "recall": "recall",
    "precision": "precision",
    "length_error_pct": "length %",
    "descent_error_deg": "descent deg",
    "tortuosity_error_pct": "tortuosity %",
    "flattened_error": "flattened",
    "whole_pct": "whole %",
    "layer_error_in": "layer in",
    "layers_missed": "missed",
    "layers_invented": "invented",
    "seconds": "s",
}


def print_scores(scores: list[Score], refused: dict[str, str]) -> None:
    """A Markdown table, a row a wall, then medians, worst values and coverage."""
    print("| wall | " + " | ".join(COLUMNS.values()) + " |")
    print("|---" * (len(COLUMNS) + 1) + "|")
    for score in scores:
        print(f"| {score.wall} | " + " | ".join(f"{getattr(score, name):.3g}" for name in COLUMNS) + " |")
    for name, reason in refused.items():
        print(f"| {name} | refused: {reason} |")
    columns = {name: np.array([getattr(score, name) for score in scores], dtype=float) for name in COLUMNS}
    higher_is_better = {"recall", "precision", "whole_pct"}
    medians = [np.nanmedian(np.abs(values)) for values in columns.values()]
    worst = [
        np.nanmin(values) if name in higher_is_better else np.nanmax(np.abs(values))
        for name, values in columns.items()
    ]
    for title, values in (("median", medians), ("worst", worst)):
        print(f"| **{title}** | " + " | ".join(f"{value:.3g}" for value in values) + " |")
    in_se = np.mean([score.scale_in_two_se for score in scores])
    in_interval = np.mean([score.descent_in_interval for score in scores])
    missed, invented = columns["layers_missed"].sum(), columns["layers_invented"].sum()
    print(
        f"\n{len(scores)} read, {len(refused)} refused. Scale within two standard errors: {in_se:.0%}. "
        f"Descent within its interval: {in_interval:.0%}. "
        f"Layers missed: {missed:.0f}, invented: {invented:.0f}."
    )


if __name__ == "__main__":
    main()

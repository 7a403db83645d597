"""How well walls are judged: layers, descent, flattening, grade and their intervals, on made walls.

usage: python benchmarks/judging.py [--each 20] [--training] [--stale] [--cache DIR]

Makes walls of held-out seeds (open, blocked and mixed in turn), reads them and
compares with their true roots, measured and judged by the same code. What was
made and read is kept, so a run that was stopped goes on where it was; --stale
uses what is kept even though the code of the reading has changed since.
--training looks at walls that may be learned from instead.
"""

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from accuracy import true_descent
from flat_cracks import calls_on_found_stretches, calls_on_true_stretches, crack_summary
from made_walls import HELD_OUT_SEED, SETTINGS, TRAINING_SEED, ReadWall, cache_folder, read_walls, wall_list
from scipy.stats import spearmanr
from true_walls import TrueWall, true_wall

from rootread.fieldsheet import default_row
from rootread.judge import Grade, Layer, find_layers, grade_wall
from rootread.measure import Interval, Readings, measure_wall

NEAR_LAYER_IN = 1.0
SHARES = (
    "shallow_share",
    "in_pattern_share",
    "steep_share",
    "tortuosity",
    "flattened_share",
    "root_length_in",
    "sideways_in",
)


@dataclass(frozen=True, eq=False)
class Judged:
    """One wall as it was judged and as it should have been."""

    wall: ReadWall
    readings: Readings
    layers: tuple[Layer, ...]
    grade: Grade
    true: TrueWall

    @property
    def descent_error_deg(self) -> float:
        return self.readings.descent.value - true_descent(self.wall.truth)

    @property
    def found_in(self) -> list[float]:
        return [layer.depth_in for layer in self.layers if layer.p_value < 0.05]

    @property
    def layer_error_in(self) -> float:
        """Largest error of the layers that roots show; NaN if none was found."""
        errors = [nearest(z, self.found_in) for z in self.wall.truth.shown_layer_depths_in]
        return max((error for error in errors if error <= NEAR_LAYER_IN), default=float("nan"))

    @property
    def missed(self) -> int:
        return sum(nearest(z, self.found_in) > NEAR_LAYER_IN for z in self.wall.truth.shown_layer_depths_in)

    @property
    def invented(self) -> int:
        return sum(nearest(z, self.wall.truth.layer_depths_in) > NEAR_LAYER_IN for z in self.found_in)

    def intervals(self) -> dict[str, tuple[Interval, float]]:
        """Every stated interval with the truth it should hold."""
        held = {"descent": (self.readings.descent, true_descent(self.wall.truth))}
        held["grade"] = (self.grade.score, self.true.grade.score.value)
        for name in SHARES:
            truth = getattr(self.true.readings, name)
            if name == "flattened_share":
                truth = self.true.flattened_share
            held[name] = (getattr(self.readings.intervals, name), truth)
        return held


def nearest(depth: float, others: list[float]) -> float:
    return min((abs(depth - other) for other in others), default=float("inf"))


def judge(wall: ReadWall) -> Judged:
    readings = measure_wall(
        wall.traces, wall.plane, SETTINGS.measure, wall.image, cracks_in=wall.root_map.cracks_in
    )
    layers = find_layers(readings, (), SETTINGS.judge)
    grade = grade_wall(readings, layers, default_row(f"{wall.name}.jpg"), SETTINGS.judge)
    return Judged(wall, readings, layers, grade, true_wall(wall.truth, SETTINGS))


def judged_walls(
    walls: list[tuple[str, int]], cache: Path, stale: bool
) -> Iterator[Judged | tuple[str, str]]:
    for wall in read_walls(walls, cache, stale):
        yield wall if isinstance(wall, tuple) else judge(wall)


def row_of(one: Judged) -> str:
    grade, true = one.grade.score, one.true.grade.score.value
    cells = [
        one.wall.name,
        one.wall.truth.raw["difficulty"],
        " ".join(f"{z:.1f}" for z in one.wall.truth.shown_layer_depths_in) or "–",
        " ".join(f"{z:.1f}" for z in one.found_in) or "–",
        f"{one.missed} / {one.invented}",
        f"{one.readings.descent.value:.1f} ({one.descent_error_deg:+.1f})",
        f"{grade.value:.0f} ({grade.low:.0f}–{grade.high:.0f}), true {true:.0f}",
        f"{100 * one.readings.flattened_share:.1f}, true {100 * one.true.flattened_share:.1f}",
    ]
    return "| " + " | ".join(cells) + " |"


def summary(judged: list[Judged]) -> str:
    """The figures of the table in the README, one a line."""
    blocked, mixed, opened = ([o for o in judged if o.wall.kind == k] for k in ("blocked", "mixed", "open"))
    layer = np.array([one.layer_error_in for one in judged])
    layer = layer[np.isfinite(layer)]
    descent = np.array([abs(one.descent_error_deg) for one in judged])
    flat = np.array([abs(one.readings.flattened_share - one.true.flattened_share) for one in judged])
    grade, true = np.array([(one.grade.score.value, one.true.grade.score.value) for one in judged]).T
    off = grade - true
    lines = [
        f"{len(judged)} walls read.",
        f"Layer depth: median error {np.median(layer):.2f} in, within 0.4 in on {np.mean(layer <= 0.4):.0%} "
        f"of those found, worst {layer.max():.2f}.",
        f"Layers missed: {sum(one.missed for one in blocked)} on {len(blocked)} blocked, "
        f"{sum(one.missed for one in mixed)} on {len(mixed)} mixed walls.",
        f"Layers invented: {sum(one.invented for one in opened)} on {len(opened)} open walls, "
        f"{sum(one.invented for one in [*blocked, *mixed])} on the others.",
        f"Mean descent: median error {np.median(descent):.1f}°, within 2° on {np.mean(descent <= 2):.0%}, "
        f"worst {descent.max():.1f}°.",
        f"Flattened share: within 0.05 on {np.mean(flat <= 0.05):.0%}, worst {flat.max():.2f}.",
        crack_summary(
            "true stretches", [call for one in judged for call in calls_on_true_stretches(one.wall)]
        ),
        crack_summary(
            "found stretches",
            [call for one in judged for call in calls_on_found_stretches(one.wall, one.readings)],
        ),
        f"Grade: rank correlation with that of the true traces {spearmanr(grade, true).statistic:.3f}; "
        f"off by {off.mean():+.1f} ± {off.std():.1f} points, worst {np.abs(off).max():.0f}.",
    ]
    names = judged[0].intervals()
    for name in names:
        pairs = [one.intervals()[name] for one in judged]
        held = np.mean([sure.low <= truth <= sure.high for sure, truth in pairs])
        wide = np.median([sure.high - sure.low for sure, _ in pairs])
        lines.append(f"Interval of {name}: holds the truth on {held:.0%}; median width {wide:.3g}.")
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--each", type=int, default=20, help="walls of each kind")
    parser.add_argument("--training", action="store_true")
    parser.add_argument("--stale", action="store_true")
    parser.add_argument("--cache", type=Path, default=cache_folder())
    options = parser.parse_args()
    first = TRAINING_SEED if options.training else HELD_OUT_SEED
    print("| wall | | layers | found | missed / invented | descent | grade | flattened % |")
    print("|---" * 8 + "|")
    judged = []
    for one in judged_walls(wall_list(first, options.each), options.cache, options.stale):
        if isinstance(one, tuple):
            print(f"| {one[0]} | refused: {one[1]} |", flush=True)
        else:
            print(row_of(one), flush=True)
            judged.append(one)
    print("\n" + (summary(judged) if judged else "No wall was read."))


if __name__ == "__main__":
    sys.exit(main())

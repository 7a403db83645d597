"""How well layers are judged when every root is followed exactly: drawn walls, without a photo.

usage: python benchmarks/exact_roots.py [--each 60] [--held-out] [--waviness 2.5]

What goes wrong here is judging's own fault; what goes wrong in ``judging.py``
alone comes from finding and following roots. A wall takes a fifth of a second.
"""

import argparse
from dataclasses import dataclass

import numpy as np
from made_walls import HELD_OUT_SEED, KIND_STEP, SETTINGS, TRAINING_SEED
from true_walls import NOTHING

from rootread.follow import Trace
from rootread.judge import find_layers
from rootread.measure import measure_wall
from rootread.plane.types import Level, ScaleFinding, Surface, WallPlane
from rootread.scene import KINDS, draw_scene
from rootread.scene.describe import Scene

APART_FROM_PHOTOS = 500
"""Seeds so far on, that the walls of ``judging.py`` are none of these."""
NEAR_LAYER_IN, NEAR_RUN_IN = 1.0, 0.8
FEWEST_RUNS = 3
LEAST_POINTS = 10


@dataclass(frozen=True)
class Result:
    """Layers of one drawn wall."""

    seed: int
    shown: int
    """Layers that at least three roots show by running there."""
    missed: tuple[float, ...]
    invented: tuple[float, ...]
    """Found where no layer is, nor three roots run."""
    ran: tuple[float, ...]
    """Found where no layer is, but three roots run: turned at the side of a layer's end."""
    errors_in: tuple[float, ...]


def judge_exactly(kind: str, seed: int, waviness: float) -> Result:
    scene = draw_scene(np.random.default_rng(seed), kind=kind, waviness=waviness)  # type: ignore[arg-type]
    readings = measure_wall(_traces(scene), _plane(scene), SETTINGS.measure)
    found = [layer.depth_in for layer in find_layers(readings, (), SETTINGS.judge)]
    layers = [layer.z_in for layer in scene.layers]
    runs = np.array([run.z_in for root in scene.roots for run in root.runs])

    def run_at(depth_in: float) -> bool:
        return int((np.abs(runs - depth_in) < NEAR_RUN_IN).sum()) >= FEWEST_RUNS

    def off(depth_in: float, others: list[float]) -> float:
        return min((abs(depth_in - other) for other in others), default=np.inf)

    shown = [depth for depth in layers if run_at(depth)]
    extra = [depth for depth in found if off(depth, layers) > NEAR_LAYER_IN]
    errors = [off(depth, found) for depth in shown]
    return Result(
        seed,
        len(shown),
        tuple(depth for depth, error in zip(shown, errors, strict=True) if error > NEAR_LAYER_IN),
        tuple(depth for depth in extra if not run_at(depth)),
        tuple(depth for depth in extra if run_at(depth)),
        tuple(error for error in errors if error <= NEAR_LAYER_IN),
    )


def _traces(scene: Scene) -> list[Trace]:
    return [
        Trace(
            root.id,
            root.order,
            root.parent,
            root.points,
            root.width_in,
            np.zeros(len(root.points), bool),
            1.0,
        )
        for root in scene.roots
        if len(root.points) > LEAST_POINTS
    ]


def _plane(scene: Scene) -> WallPlane:
    scale = ScaleFinding("card", 75.0, 1e-6, (), NOTHING, NOTHING, 0.0)
    return WallPlane(np.eye(3), None, scale, Level("card", 0.0), Surface(scene.surface, 0.0, "photo"), 0.0)


def summary(kind: str, results: list[Result]) -> str:
    errors = [error for one in results for error in one.errors_in]
    depth = f"; depth off by {np.median(errors):.2f} in, at most {max(errors):.2f}" if errors else ""
    return (
        f"{kind}: {len(results)} walls, {sum(one.shown for one in results)} layers shown, "
        f"{sum(len(one.missed) for one in results)} missed{depth}; layers invented on "
        f"{sum(bool(one.invented) for one in results)} walls; found where roots ran beside a layer on "
        f"{sum(bool(one.ran) for one in results)}."
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--each", type=int, default=60, help="walls of each kind")
    parser.add_argument("--held-out", action="store_true")
    parser.add_argument(
        "--waviness", type=float, default=1.0, help="times as much as usual that roots wiggle"
    )
    options = parser.parse_args()
    first = (HELD_OUT_SEED if options.held_out else TRAINING_SEED) + APART_FROM_PHOTOS
    for place, kind in enumerate(sorted(KINDS)):
        seeds = range(first + KIND_STEP * place, first + KIND_STEP * place + options.each)
        results = [judge_exactly(kind, seed, options.waviness) for seed in seeds]
        for one in results:
            if one.missed or one.invented or one.ran:
                print(f"  {one.seed}: missed {one.missed}, invented {one.invented}, ran {one.ran}")
        print(summary(kind, results), flush=True)


if __name__ == "__main__":
    main()

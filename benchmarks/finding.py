"""Which pixels are root: the network, the ridge finder, and plain filters of scikit-image, on the same walls.

usage: python benchmarks/finding.py [--walls PHOTOS TRUTH] [--scenes N] [--out DIR] [--skip-filters]

Every finder gets the wall laid flat by its *true* plane, with sky and scale
object masked out. The plain filters also get the threshold that is best for
these very walls; ours keep their defaults. Lengths are of skeletons, within
0.1 in; the row "exact mask" is the truth's own mask put through the same
measure, so the most that any mask can reach where roots hide or run together.
"""

import argparse
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import cv2
import numpy as np
import skimage.data
from field_strokes import print_gain
from flat_truth import FlatWall, average_precision, crack_scores, flat_wall, length_scores
from numpy.typing import NDArray
from skimage.filters import apply_hysteresis_threshold, frangi, sato
from skimage.morphology import remove_small_objects, skeletonize

from rootread.components import lasting_pieces
from rootread.find import find_roots, with_cracks
from rootread.find.network import photo_probability
from rootread.plane import Grid, WallImage
from rootread.settings import FindSettings
from rootread.train.held_out import HELD_OUT_SOILS

SCENE_SEED = 900_000
PX_PER_IN = 72.0
SIGMAS_PX = (1.5, 3.0, 5.0)
"""Scales of the plain filters: roots 0.05 to 0.25 in wide."""
THRESHOLDS = 10
SPEED_SIZE_PX = (3000, 4000)
RIDGE_LOW, RIDGE_HIGH, SMALL_PX = 0.02, 0.04, 64
"""Thresholds and smallest piece of a plain pipeline, for its speed alone."""
SPEED_TRIES = 3
"""The quickest counts: other work on the machine only ever adds."""
RELIABILITY_BINS = 10

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]


def ours(finder: Literal["network", "ridges"]) -> Callable[[WallImage], tuple[Image, Mask]]:
    """A finder of the package at its defaults."""

    def run(image: WallImage) -> tuple[Image, Mask]:
        found = find_roots(image, FindSettings(finder=finder))
        return found.probability, found.mask

    return run


def plain(ridge_filter: Callable[..., Image]) -> Callable[[WallImage], tuple[Image, None]]:
    """A filter of scikit-image on the grey picture; its threshold is chosen later."""

    def run(image: WallImage) -> tuple[Image, None]:
        grey = cv2.cvtColor(image.rgb, cv2.COLOR_RGB2GRAY) / np.float32(255)
        return (ridge_filter(grey, sigmas=SIGMAS_PX, black_ridges=False) * image.soil).astype(
            np.float32
        ), None

    return run


def pieces_of_ridges(response: Image) -> Mask:
    """What makes a mask of a filter's response in a plain pipeline: two thresholds, and no small pieces."""
    mask = apply_hysteresis_threshold(response, RIDGE_LOW, RIDGE_HIGH)
    return remove_small_objects(mask, max_size=SMALL_PX)


FINDERS: dict[str, Callable[[WallImage], tuple[Image, Mask | None]]] = {
    "network": ours("network"),
    "ridges": ours("ridges"),
    "sato": plain(sato),
    "frangi": plain(frangi),
}


@dataclass(frozen=True)
class Row:
    """Medians and worst values of one finder on one set of walls."""

    finder: str
    recall: tuple[float, float]
    precision: tuple[float, float]
    f1: float
    average_precision: float
    seconds_per_mp: float


def measure(name: str, walls: list[FlatWall]) -> Row:
    """One finder over a set."""
    scores, masks, precisions, seconds = [], [], [], []
    for wall in walls:
        begun = time.perf_counter()
        score, mask = FINDERS[name](wall.image)
        seconds.append((time.perf_counter() - begun) / (score.size / 1e6))
        precisions.append(average_precision(score, wall))
        # Kept small: a dozen walls of six million pixels.
        scores.append(score.astype(np.float16) if mask is None else None)
        masks.append(mask)
    if masks[0] is None:
        masks = best_masks([s for s in scores if s is not None], walls)
    pairs = np.array([length_scores(m, w) for m, w in zip(masks, walls, strict=True) if m is not None])
    return _row(name, pairs, float(np.median(precisions)), float(np.median(seconds)))


def _row(name: str, pairs: NDArray[np.float64], precision: float, seconds: float) -> Row:
    f1 = 2 * pairs.prod(axis=1) / np.maximum(pairs.sum(axis=1), 1e-9)
    recall, exact = ((float(np.median(c)), float(c.min())) for c in pairs.T)
    return Row(name, recall, exact, float(np.median(f1)), precision, seconds)


def best_masks(scores: list[NDArray[np.float16]], walls: list[FlatWall]) -> list[Mask | None]:
    """Masks by the one threshold that gives these walls the best median F1 of length."""
    on_root = np.concatenate([s[w.root][::50] for s, w in zip(scores, walls, strict=True)])
    best: tuple[float, list[Mask | None]] = (-1.0, [])
    for threshold in np.quantile(on_root, np.linspace(0.15, 0.8, THRESHOLDS)):
        masks: list[Mask | None] = [
            lasting_pieces(s.astype(np.float32), threshold, threshold, 0.4 * w.image.grid.px_per_in)
            for s, w in zip(scores, walls, strict=True)
        ]
        pairs = np.array([length_scores(m, w) for m, w in zip(masks, walls, strict=True) if m is not None])
        f1 = float(np.median(2 * pairs.prod(axis=1) / np.maximum(pairs.sum(axis=1), 1e-9)))
        best = max(best, (f1, masks), key=lambda pair: pair[0])
    return best[1]


def print_rows(title: str, rows: list[Row]) -> None:
    """A Markdown table."""
    print(f"\n{title}\n\n| finder | recall | worst | precision | worst | F1 | average precision | s / MP |")
    print("|---" * 8 + "|")
    for row in rows:
        figures = (*row.recall, *row.precision, row.f1, row.average_precision, row.seconds_per_mp)
        print(f"| {row.finder} | " + " | ".join(f"{v:.3f}" for v in figures) + " |", flush=True)


def exact_mask(walls: list[FlatWall]) -> Row:
    """What the truth's own mask gets."""
    pairs = np.array([length_scores(wall.root & wall.image.soil, wall) for wall in walls])
    return _row("exact mask", pairs, 1.0, 0.0)


def print_what_else(walls: list[FlatWall]) -> None:
    """Of the pixels that are given a probability, the share that is root; the crack map; cautions."""
    root, every, stated = (np.zeros(RELIABILITY_BINS) for _ in range(3))
    cracks, cautions = [], Counter[str]()
    for wall in walls:
        found = with_cracks(find_roots(wall.image, FindSettings()), wall.image)
        probability = found.probability[wall.image.soil]
        cracks.append(crack_scores(found.crack, wall) if found.crack is not None else (0.0, 0.0))
        cautions.update(caution.split(":")[0].split(",")[0] for caution in found.cautions)
        bin_of = np.minimum((probability * RELIABILITY_BINS).astype(int), RELIABILITY_BINS - 1)
        every += np.bincount(bin_of, minlength=RELIABILITY_BINS)
        root += np.bincount(bin_of, wall.root[wall.image.soil], minlength=RELIABILITY_BINS)
        stated += np.bincount(bin_of, probability, minlength=RELIABILITY_BINS)
    print("\nstated probability: " + " ".join(f"{v:.2f}" for v in stated / every))
    print("share that is root: " + " ".join(f"{v:.2f}" for v in root / every))
    recall, precision = np.nanmedian(np.array(cracks), axis=0)
    print(f"crack map: recall {recall:.2f}, precision {precision:.2f} of length, in the median")
    print(f"cautions: {dict(cautions)}", flush=True)


def print_bare_ground() -> None:
    """Inches of root found in a square foot of ground textures that hold none, read at 72 px/in."""
    print("\nroot found in bare ground, inches a square foot")
    for name in ("gravel", "grass", "brick"):
        grey = getattr(skimage.data, name)()
        rgb = np.repeat(grey[..., None], 3, axis=2)
        image = WallImage(rgb, np.ones(grey.shape, dtype=bool), Grid(PX_PER_IN, 0.0, 0.0, grey.shape))
        square_feet = grey.size / (12 * PX_PER_IN) ** 2
        found = {
            finder: skeletonize(FINDERS[finder](image)[1]).sum() / PX_PER_IN / square_feet
            for finder in ("network", "ridges")
        }
        print(f"{name}: " + ", ".join(f"{k} {v:.2f}" for k, v in found.items()), flush=True)


def write_retina(folder: Path) -> None:
    """Vessels of a real retina, dark on pale: the network beside scikit-image's sato."""
    rgb = skimage.data.retina()
    network = photo_probability(rgb, "dark")
    vessels = sato(rgb[..., 1] / 255.0, sigmas=(2, 4, 6), black_ridges=True)
    vessels = vessels / np.quantile(vessels, 0.995)
    panels = [rgb[..., ::-1]] + [
        cv2.cvtColor(np.uint8(255 * np.clip(p, 0, 1)), cv2.COLOR_GRAY2BGR) for p in (network, vessels)
    ]
    folder.mkdir(parents=True, exist_ok=True)
    cv2.imwrite(str(folder / "retina.jpg"), np.hstack(panels))
    agreement = np.corrcoef(network.ravel(), vessels.ravel())[0, 1]
    print(f"\nretina: correlation of the network's probability with sato's response {agreement:.2f}")


def print_speed(finder: str) -> None:
    """Seconds and peak memory from a 12-megapixel picture to a mask, in a process of its own."""
    draw = np.random.default_rng(1)
    small = draw.integers(60, 200, (SPEED_SIZE_PX[0] // 8, SPEED_SIZE_PX[1] // 8, 3)).astype(np.uint8)
    rgb = cv2.resize(small, SPEED_SIZE_PX[::-1], interpolation=cv2.INTER_CUBIC)
    image = WallImage(rgb, np.ones(SPEED_SIZE_PX, dtype=bool), Grid(PX_PER_IN, 0.0, 0.0, SPEED_SIZE_PX))
    FINDERS[finder](WallImage(rgb[:256, :256], image.soil[:256, :256], Grid(PX_PER_IN, 0.0, 0.0, (256, 256))))
    seconds, busy = [], []
    for _ in range(SPEED_TRIES):
        begun, worked = time.perf_counter(), time.process_time()
        response, mask = FINDERS[finder](image)
        if mask is None:
            pieces_of_ridges(response)
        seconds.append(time.perf_counter() - begun)
        busy.append(time.process_time() - worked)
    print(
        f"{finder}: 12 MP in {min(seconds):.2f} s ({min(busy):.2f} s of processor), peak {peak_gb():.2f} GB",
        flush=True,
    )


def peak_gb() -> float:
    """This process's largest resident size. Linux; ``ru_maxrss`` would count what the parent had held."""
    status = Path("/proc/self/status").read_text()
    return float(status.split("VmHWM:")[1].split()[0]) / 1e6


def scene_walls(count: int, folder: Path) -> list[FlatWall]:
    """Made walls of seeds and soils that the network has not learnt from."""
    from rootread.scene import draw_scene, render, write_scene

    walls = []
    for number in range(count):
        scene = draw_scene(np.random.default_rng(SCENE_SEED + number), soils=HELD_OUT_SOILS)
        photo = write_scene(render(scene), folder, f"scene-{number}")
        walls.append(flat_wall(photo, photo.with_suffix(".json")))
    return walls


def main() -> None:
    shared = Path(__file__).resolve().parents[2] / "shared"
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--walls", nargs=2, type=Path, default=(shared / "walls", shared / "walls-truth"))
    parser.add_argument("--scenes", type=int, default=8)
    parser.add_argument("--out", type=Path, default=Path("out/finding"))
    parser.add_argument(
        "--skip-filters", action="store_true", help="without sato and frangi, which take long"
    )
    parser.add_argument("--speed", choices=FINDERS, help="measure one finder's speed and memory, and stop")
    given = parser.parse_args()
    if given.speed:
        print_speed(given.speed)
        return
    finders = ["network", "ridges"] if given.skip_filters else list(FINDERS)
    photos, truths = given.walls
    sets: dict[str, list[FlatWall]] = {}
    if photos.is_dir():
        sets["walls of other makers"] = [
            flat_wall(p, truths / f"{p.stem}.json") for p in sorted(photos.glob("*.jpg"))
        ]
    with tempfile.TemporaryDirectory() as scratch:
        sets["held-out scenes, held-out soils"] = scene_walls(given.scenes, Path(scratch))
    for title, walls in sets.items():
        print_rows(title, [exact_mask(walls)] + [measure(name, walls) for name in finders])
        print_what_else(walls)
    with tempfile.TemporaryDirectory() as scratch:
        print_gain(Path(scratch))
    print_bare_ground()
    write_retina(given.out)
    print()
    for name in finders:
        subprocess.run([sys.executable, __file__, "--speed", name], check=True)


if __name__ == "__main__":
    main()

"""Soils outside the training range, and the few strokes that a person would draw on one of their photos."""

import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from flat_truth import FlatWall, average_precision, flat_wall, length_scores
from numpy.typing import NDArray
from skimage.morphology import skeletonize

from rootread.find import find_roots
from rootread.find.field import SEED
from rootread.find.session import shipped
from rootread.find.strokes import GridStroke, learn
from rootread.scene import draw_scene, render, write_scene
from rootread.scene.describe import Litter, Structure
from rootread.scene.soils import linear
from rootread.settings import FindSettings

FIELD_SEED = 930_000
PHOTO_SIZE_PX = (2400, 1800)
STROKES_OF_A_KIND = 4
STROKE_IN = 1.2
THREADS = 40
THREAD_IN = 0.09
THREAD_SEED = 50_000
DRAWN_WIDER = 1.5
"""A person's root stroke is about so many times as wide as the root."""


@dataclass(frozen=True)
class StrangeSoil:
    """A soil and its roots, sRGB 0-255."""

    topsoil: tuple[int, int, int]
    subsoil: tuple[int, int, int]
    root: tuple[int, int, int]
    structure: Structure
    thread: tuple[int, int, int] | None = None
    """Threads in the soil, as fine and winding as laterals but none."""


STRANGE_SOILS = {
    "loess with threads of carbonate": StrangeSoil(
        (142, 116, 80), (196, 164, 112), (140, 92, 52), "blocky", (240, 238, 232)
    ),
    "peat with brown fibres": StrangeSoil(
        (44, 36, 28), (58, 48, 36), (214, 200, 170), "crumb", (128, 84, 46)
    ),
    "green sand, green roots": StrangeSoil((84, 104, 70), (110, 134, 90), (112, 124, 86), "sandy"),
}


def field_walls(soil: StrangeSoil, seed: int, count: int, folder: Path) -> list[FlatWall]:
    """Walls of one field: one soil and one look of root, the rest as it comes, much of it hard."""
    walls, ground = [], None
    for number in range(count):
        scene = draw_scene(np.random.default_rng(seed + number), difficulty="hard")
        if ground is None:
            top, below = linear(soil.topsoil), linear(soil.subsoil)
            ground = replace(
                scene.ground, topsoil_rgb=top, subsoil_rgb=below, structure=soil.structure, soil="strange"
            )
        colour = linear(soil.root)
        scene = replace(
            scene,
            ground=replace(ground, seed=scene.ground.seed, boundary=scene.ground.boundary),
            roots=tuple(replace(root, base_rgb=colour, tip_rgb=colour) for root in scene.roots),
            litter=(*scene.litter, *_threads(soil, seed + number)),
        )
        photo = write_scene(render(scene, PHOTO_SIZE_PX), folder, f"field-{seed + number}")
        walls.append(flat_wall(photo, photo.with_suffix(".json")))
    return walls


def _threads(soil: StrangeSoil, seed: int) -> list[Litter]:
    """Laterals of another wall, turned upside down and scattered, in the threads' colour."""
    if soil.thread is None:
        return []
    draw = np.random.default_rng(seed)
    other = draw_scene(np.random.default_rng(seed + THREAD_SEED), difficulty="hard")
    fine = [root for root in other.roots if root.width_in.mean() < THREAD_IN and len(root.points) > 20]
    threads = []
    for root in fine[:THREADS]:
        middle = draw.uniform([0, 2], [other.width_in, other.depth_in])
        points = (root.points - root.points.mean(axis=0)) * [1, -1] + middle
        width = float(root.width_in.mean())
        colour = linear(soil.thread)
        threads.append(
            Litter("cord", points, width, width, 0.4 * width, colour, 0.0, 0.2, int(draw.integers(2**31)))
        )
    return threads


def person_strokes(wall: FlatWall, mask: NDArray[np.bool_]) -> list[GridStroke]:
    """Strokes where the finder is most wrong: the longest missed roots, and the longest false ones."""
    px_per_in = wall.image.grid.px_per_in
    near = np.ones((2 * int(0.1 * px_per_in) + 1,) * 2, np.uint8)
    root = wall.root & wall.image.soil
    missed = skeletonize(root) & ~cv2.dilate(mask.astype(np.uint8), near).astype(bool)
    false = skeletonize(mask) & ~cv2.dilate(root.astype(np.uint8), near).astype(bool)
    depth = cv2.distanceTransform(root.astype(np.uint8), cv2.DIST_L2, 3)
    strokes = []
    for is_root, lines in ((True, missed), (False, false)):
        for points in _longest(lines, STROKE_IN * px_per_in):
            at = points.astype(int)
            width = 2 * DRAWN_WIDER * float(np.median(depth[at[:, 1], at[:, 0]])) if is_root else 6.0
            strokes.append(GridStroke(is_root, points, max(width, 3.0)))
    return strokes


def _longest(lines: NDArray[np.bool_], length_px: float) -> Iterator[NDArray[np.float64]]:
    """A stretch of each of the longest pieces, in order along it."""
    _, piece, box, _ = cv2.connectedComponentsWithStats(lines.astype(np.uint8), connectivity=8)
    order = np.argsort(-box[1:, cv2.CC_STAT_AREA])[:STROKES_OF_A_KIND] + 1
    for label in order.tolist():
        row, column = np.nonzero(piece == label)
        points = np.column_stack([column, row]).astype(float)
        middle = points[len(points) // 2]
        points = points[np.hypot(*(points - middle).T) < length_px / 2]
        if len(points) < 5:
            continue
        way = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)[2][0]
        yield points[np.argsort(points @ way)][::3]


def print_gain(folder: Path) -> None:
    """What strokes on one wall of a field gain on its others."""
    print("\nstrokes on one wall, scores of two others: recall, precision, average precision")
    for number, (name, soil) in enumerate(STRANGE_SOILS.items()):
        first, *others = field_walls(soil, FIELD_SEED + 20 * number, 3, folder)
        strokes = person_strokes(first, find_roots(first.image, FindSettings()).mask)
        begun, worked = time.perf_counter(), time.process_time()
        weights = learn(first.image.rgb, strokes, shipped().with_features, np.random.default_rng(SEED))
        seconds, busy = time.perf_counter() - begun, time.process_time() - worked
        taught = FindSettings(learned=tuple(weights.tolist()))
        rows = []
        for settings in (FindSettings(), taught):
            maps = [find_roots(wall.image, settings) for wall in others]
            scores = [
                (*length_scores(m.mask, w), average_precision(m.probability, w))
                for m, w in zip(maps, others, strict=True)
            ]
            rows.append(" / ".join(f"{v:.3f}" for v in np.mean(scores, axis=0)))
        print(
            f"{name}: {rows[0]} before, {rows[1]} after {len(strokes)} strokes, "
            f"learnt in {seconds:.1f} s ({busy:.1f} s of processor)",
            flush=True,
        )

"""Made walls, drawn, photographed and read by worker processes until the time is over.

What is kept of each wall, one file a wall, is up to who learns from it.
"""

import argparse
import multiprocessing
import os
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.errors import WallRefused
from rootread.fieldsheet import default_row
from rootread.find import find_roots
from rootread.follow.strands import Strands, find_strands
from rootread.photo import read_photo
from rootread.plane import WallImage, WallPlane, find_plane, lay_flat
from rootread.scene import KINDS, draw_scene, render, write_scene
from rootread.scene.describe import Kind
from rootread.settings import Settings
from rootread.train.burial import half_buried

WIDTH_PX = (1800, 3100)
HALF_BURIED_WALLS = 0.3
"""Share of the walls whose roots lie so deep in the face that they show in dashes."""
WAVINESS = (0.4, 3.5)
"""Some roots run straight and some twist: times as wavy as usual, all alike on a log scale."""
TURNS_BURIED = 0.8
"""At most this chance has a sharp turn to lie under soil, where roots dive into cracks and under layers."""
HINDRANCE = 1.0
"""At most so much a layer hinders: roots that run along one side by side are the hardest to follow."""
FREE_SHARE = 0.1
"""Of the walls have roots of any habit."""


def read_made(photo: Path) -> tuple[WallPlane, WallImage, Strands]:
    """A made photo as a wall is read, up to the strands of its roots."""
    settings = Settings()
    taken = read_photo(photo, settings.photo)
    plane = find_plane(taken, default_row(photo.name), None, settings.plane)
    image = lay_flat(taken, plane, settings.plane)
    return plane, image, find_strands(find_roots(image, settings.find), image)


Examples = Callable[[Path, dict[str, Any], np.random.Generator], dict[str, NDArray[Any]]]


def make_wall(seed: int, folder: Path, read: Examples) -> int:
    """Draw, read and keep the wall of a seed; the number of its examples."""
    kinds = sorted(KINDS)
    rng = np.random.default_rng(seed)
    width = int(rng.integers(*WIDTH_PX)) // 8 * 8
    kind: Kind = "free" if rng.random() < FREE_SHARE else kinds[seed % len(kinds)]
    waviness = float(np.exp(rng.uniform(*np.log(WAVINESS))))
    buried = float(rng.uniform(0, TURNS_BURIED))
    hindrance = float(rng.uniform(0, HINDRANCE))
    scene = draw_scene(
        np.random.default_rng(seed), kind=kind, waviness=waviness, turns_buried=buried, hindrance=hindrance
    )
    if rng.random() < HALF_BURIED_WALLS:
        scene = half_buried(scene, rng)
    rendered = render(scene, (width, width * 3 // 4))
    with tempfile.TemporaryDirectory() as scratch:
        photo = write_scene(rendered, scratch, f"wall-{seed}")
        examples = read(photo, rendered.truth, rng)
    part = folder / f"wall-{seed}.part"
    with part.open("wb") as file:
        np.savez(file, **examples)  # type: ignore[arg-type]
    part.replace(folder / f"wall-{seed}.npz")
    return len(examples["facts"])


def _work(seed: int, step: int, folder: Path, until: float, read: Examples) -> None:
    cv2.setNumThreads(1)
    while time.monotonic() < until:
        try:
            print(f"wall {seed}: {make_wall(seed, folder, read)} examples", flush=True)
        except WallRefused as error:
            print(f"wall {seed} refused: {error.cause}", flush=True)
        seed += step


def make_walls(usage: str, first_seed: int, read: Examples) -> None:
    """Make walls from the command line, and keep what ``read`` says of each."""
    parser = argparse.ArgumentParser(description=usage)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seconds", type=float, default=400.0)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--first-seed", type=int, default=first_seed)
    given = parser.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    until = time.monotonic() + given.seconds
    context = multiprocessing.get_context("spawn")
    workers = [
        context.Process(target=_work, args=(given.first_seed + k, given.workers, given.folder, until, read))
        for k in range(given.workers)
    ]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()

"""Rendered scenes cut into squares, made by worker processes while the network learns.

The workers draw the very scenes that tests and benchmarks draw, with seeds and
soils that those never use.
"""

import multiprocessing
import os
import queue
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
import torch
from numpy.typing import NDArray

from rootread.scene import Scene, draw_training_scene, render_crop, vary
from rootread.scene.describe import Colour
from rootread.scene.soils import SOILS
from rootread.train.burial import half_buried
from rootread.train.held_out import CHECKPOINT_SEEDS, HELD_OUT_SOILS
from rootread.train.maker import Walls

CROPS_A_SCENE = 12
PX_PER_IN = (44.0, 105.0)
DARK_AGAIN = 0.3
"""Share of the looks with pale roots drawn once more: dark roots, which cracks look like, are rare."""
ANY_COLOUR = 0.5
"""Share of the crops whose soil is of no family, so that colour alone says little."""
SHIFT, SHIFT_LIGHT, LAYERS_APART = 0.2, 0.2, 0.06
"""Its spreads in log reflectance: of each channel, of all together, of one layer against the other."""
CROPS_A_LOOK = 4
"""Crops before the same roots get another soil and light."""
WAVINESS = (0.15, 2.5)
"""Roots of some walls run as straight as straw, of others they twist: times as wavy as usual, all alike on
a log scale."""
HALF_BURIED = 0.35
"""Share of the crops whose roots lie so deep in the face that they show in dashes."""

Crop = tuple[NDArray[np.uint8], NDArray[np.uint8], NDArray[np.float16], NDArray[np.float16]]


def soils_of(seed: int) -> tuple[str, ...]:
    """Soils that the scene of a seed may have: training and held-out scenes share none."""
    held_out = seed >= CHECKPOINT_SEEDS
    return tuple(name for name in SOILS if (name in HELD_OUT_SOILS) == held_out)


def has_dark_roots(scene: Scene) -> bool:
    """Whether the roots are mostly darker than the topsoil."""
    if not scene.roots:
        return False
    return float(np.median([np.mean(root.base_rgb) for root in scene.roots])) < float(
        np.mean(scene.ground.topsoil_rgb)
    )


def of_any_colour(scene: Scene, rng: np.random.Generator) -> Scene:
    """The scene with its soil's colours shifted far, both layers one way."""
    shift = np.exp(rng.normal(0, SHIFT, 3) + rng.normal(0, SHIFT_LIGHT))

    def shifted(colour: Colour) -> Colour:
        reflectance = np.array(colour) * shift * np.exp(rng.normal(0, LAYERS_APART, 3))
        red, green, blue = reflectance.clip(0.004, 0.92).tolist()
        return red, green, blue

    topsoil, subsoil = shifted(scene.ground.topsoil_rgb), shifted(scene.ground.subsoil_rgb)
    return replace(scene, ground=replace(scene.ground, topsoil_rgb=topsoil, subsoil_rgb=subsoil))


def looks_of(
    seed: int, rng: np.random.Generator, count: int, crops_a_look: int, waviness: float = 1.0
) -> Iterator[Scene]:
    """The scene of a seed ``count`` times, its roots the same, its soil and light anew after some crops."""
    soils = soils_of(seed)
    scene = draw_training_scene(rng, soils, waviness)
    for k in range(count):
        if k % crops_a_look == 0:
            if k:
                scene = vary(scene, rng, soils)
            if seed < CHECKPOINT_SEEDS and not has_dark_roots(scene) and rng.random() < DARK_AGAIN:
                scene = vary(scene, rng, soils)
        odd = seed < CHECKPOINT_SEEDS and rng.random() < ANY_COLOUR
        yield of_any_colour(scene, rng) if odd else scene


def scene_crops(seed: int, side: int, count: int = CROPS_A_SCENE) -> list[Crop]:
    """Squares of one scene: RGB, root 0 to 255, half-width px, and cos 2a, sin 2a stacked first."""
    rng = np.random.default_rng(seed)
    waviness = float(np.exp(rng.uniform(*np.log(WAVINESS))))
    crops = []
    for shown in looks_of(seed, rng, count, CROPS_A_LOOK, waviness):
        if rng.random() < HALF_BURIED:
            shown = half_buried(shown, rng)
        rgb, root, half_width, direction = render_crop(shown, side, float(rng.uniform(*PX_PER_IN)), rng)
        twice = np.moveaxis(direction, -1, 0).astype(np.float16)
        crops.append((rgb, np.round(root * 255).astype(np.uint8), half_width.astype(np.float16), twice))
    return crops


def to_walls(crops: list[Crop], device: torch.device | str) -> Walls:
    """A batch of crops as walls in linear light (an inverse power of 2.2 stands for the camera's curve)."""
    rgb, root, half_width, direction = (
        torch.from_numpy(np.stack([crop[k] for crop in crops])).to(device) for k in range(4)
    )
    linear = (rgb.float() / 255).permute(0, 3, 1, 2) ** 2.2
    return Walls(linear, root.float() / 255, half_width.float(), direction.float())


MakeCrops = Callable[[int, int], list[Any]]
"""From a seed and a side in pixels to the squares of one scene."""


@dataclass
class Feed:
    """Worker processes and what they hand over."""

    crops: Any
    stop: Any
    workers: list[Any]

    @classmethod
    def start(
        cls, workers: int, side: int, first_seed: int, held_out: int, make: MakeCrops = scene_crops
    ) -> "Feed":
        """Start ``workers`` processes; ``held_out`` scenes are rendered before anything else."""
        context = multiprocessing.get_context("spawn")
        crops, stop = context.Queue(maxsize=4 * workers), context.Event()
        started = []
        for k in range(workers):
            kept = [CHECKPOINT_SEEDS + i for i in range(k, held_out, workers)]
            process = context.Process(
                target=_worker, args=(make, kept, first_seed + k, workers, side, crops, stop), daemon=True
            )
            process.start()
            started.append(process)
        return cls(crops, stop, started)

    def take(self, wait_seconds: float = 0.0) -> tuple[int, list[Any]] | None:
        """Seed and crops of the next scene, or None if none is ready."""
        try:
            return self.crops.get(timeout=wait_seconds) if wait_seconds else self.crops.get_nowait()
        except queue.Empty:
            return None

    def close(self) -> None:
        """Stop the workers."""
        self.stop.set()
        for process in self.workers:
            process.terminate()
            process.join(timeout=5)


def _worker(
    make: MakeCrops, held_out: list[int], seed: int, step: int, side: int, out: Any, stop: Any
) -> None:
    """Render held-out scenes, then every ``step``-th training seed until told to stop."""
    cv2.setNumThreads(1)
    os.nice(10)  # the GPU waits for the process that feeds it, not for these
    for kept in held_out:
        out.put((kept, make(kept, side)))
    while not stop.is_set():
        out.put((seed, make(seed, side)))
        seed += step

"""Made walls with exact truth, and what the early stages read of them, kept between runs.

Making a wall and reading it takes half a minute; judging what was read takes a
second. So each wall's photo and truth, its flat picture with root map, and its
traces are kept in a cache folder. A kept stage is used as long as the source
code of the stages up to it is the same; ``stale`` uses it whatever the code.
"""

import argparse
import gzip
import hashlib
import json
import os
import pickle
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from truth import Truth

import rootread
from rootread.errors import WallRefused
from rootread.fieldsheet import default_row
from rootread.find import RootMap, find_roots, with_cracks
from rootread.follow import Trace, follow_roots
from rootread.photo import read_photo
from rootread.plane import WallImage, WallPlane, find_plane, lay_flat
from rootread.scene import KINDS, draw_scene, render, write_scene
from rootread.settings import Settings

HELD_OUT_SEED = 900_000
TRAINING_SEED = 700_000
"""Seeds below 800000 may be learned from; those from 900000 up are for measuring alone."""
KEPT_SEED = 790_000
"""Seeds to be learned from too, but not by following: neither its network nor its confidence saw them."""
WAVY_SEED = 780_000
"""The same, with roots that wiggle more: up to ``KEPT_SEED``."""
HINDERED_SEED = 778_000
"""The same, blocked walls with a shallow layer at which most main roots turn and run side by side."""
WAVINESS = 2.5
"""Of those walls: their roots turn as much as those of six of the benchmark walls, of another maker."""
KIND_STEP = 1000
PHOTO_PX = (2400, 1800)
"""4 megapixels, some 60 px an inch: less than a phone gives, so that sixty walls are read in half an hour."""
EARLY, LATE = ("photo", "plane", "find"), ("follow",)
SETTINGS = Settings()


@dataclass(frozen=True, eq=False)
class ReadWall:
    """One made wall as read up to its traces; a refused wall has none of it."""

    name: str
    kind: str
    truth: Truth
    plane: WallPlane
    image: WallImage
    root_map: RootMap
    traces: tuple[Trace, ...]


def cache_folder() -> Path:
    """Outside the checkout, so that git never sees it."""
    home = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    return Path(os.environ.get("ROOTREAD_BENCH_CACHE") or Path(home) / "rootread-benchmarks")


def fitting_options(description: str) -> argparse.Namespace:
    """What is asked of a benchmark that fits a part of following, or says what it is worth."""
    parser = argparse.ArgumentParser(description=description, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--fit", action="store_true")
    parser.add_argument("--each", type=int, default=12, help="made walls of each kind")
    parser.add_argument("--cache", type=Path, default=cache_folder())
    parser.add_argument("--stale", action="store_true", help="use what is kept, whatever the code")
    parser.add_argument("--no-benchmark", action="store_true", help="made walls alone")
    return parser.parse_args()


def wall_list(first_seed: int, per_kind: int) -> list[tuple[str, int]]:
    """Kind and seed of each wall, kinds in turn, so that a run cut short has some of each."""
    return [
        (kind, first_seed + KIND_STEP * place + number)
        for number in range(per_kind)
        for place, kind in enumerate(sorted(KINDS))
    ]


def hindered_list(count: int) -> list[tuple[str, int]]:
    """Blocked walls whose layer hinders as much as any."""
    return [("blocked", HINDERED_SEED + number) for number in range(count)]


def read_walls(
    walls: Sequence[tuple[str, int]], cache: Path, stale: bool = False
) -> Iterator[ReadWall | tuple[str, str]]:
    """Each wall in turn; a refused one as its name and the reason."""
    for kind, seed in walls:
        name = f"{kind}-{seed}"
        photo = _made(kind, seed, name, cache / "scenes")
        flat = kept(cache / "flat" / f"{name}.gz", EARLY, stale, lambda photo=photo: lay_photo_flat(photo))
        if isinstance(flat, str):
            yield name, flat
            continue
        plane, image, root_map = flat
        traces = kept(
            cache / "traces" / f"{name}.gz",
            EARLY + LATE,
            stale,
            lambda flat=flat: follow_roots(flat[2], flat[1], flat[0].surface, SETTINGS.follow),
        )
        yield ReadWall(name, kind, Truth(photo.with_suffix(".json")), plane, image, root_map, traces)


def _made(kind: str, seed: int, name: str, folder: Path) -> Path:
    photo = folder / f"{name}.jpg"
    if not (photo.exists() and photo.with_suffix(".png").exists()):
        waviness = WAVINESS if WAVY_SEED <= seed < KEPT_SEED else 1.0
        hindrance = 1.0 if HINDERED_SEED <= seed < HINDERED_SEED + KIND_STEP else 0.0
        scene = draw_scene(np.random.default_rng(seed), kind=kind, waviness=waviness, hindrance=hindrance)  # type: ignore[arg-type]
        write_scene(render(scene, PHOTO_PX), folder, name)
    return photo


def lay_photo_flat(photo: Path) -> tuple[WallPlane, WallImage, RootMap] | str:
    try:
        taken = read_photo(photo, SETTINGS.photo)
        plane = find_plane(taken, default_row(photo.name), None, SETTINGS.plane)
    except WallRefused as error:
        return error.cause
    image = lay_flat(taken, plane, SETTINGS.plane)
    return plane, image, with_cracks(find_roots(image, SETTINGS.find), image)


def kept(path: Path, stages: tuple[str, ...], stale: bool, make: Any) -> Any:
    """What is kept at ``path`` if it was made by the same code, else made anew and kept."""
    code = _code_of(stages)
    if path.exists():
        with gzip.open(path) as file:
            kept = json.loads(file.readline())
            if stale or kept["code"] == code:
                return pickle.load(file)
    value = make()
    path.parent.mkdir(parents=True, exist_ok=True)
    draft = path.with_suffix(".draft")
    with gzip.open(draft, "wb", compresslevel=1) as file:
        file.write((json.dumps({"code": code}) + "\n").encode())
        pickle.dump(value, file)
    draft.replace(path)
    return value


def _code_of(stages: tuple[str, ...]) -> str:
    """Hash of the source of some stages."""
    digest = hashlib.sha256()
    for stage in stages:
        for path in sorted((Path(rootread.__file__).parent / stage).rglob("*")):
            if path.suffix in (".py", ".onnx"):
                digest.update(path.read_bytes())
    return digest.hexdigest()

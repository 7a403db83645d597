"""How long following takes, from the mask to whole roots: by how many roots a wall has, and by part.

usage: python benchmarks/following_speed.py [--roots 100 200 300] [--repeat 5] [--cache DIR] [--stale]

The walls are made: ``crowded`` ones are as wide as made walls are and have more and more roots on them,
``wide`` ones are twice as wide. Each is followed by the mask that the finder makes of it and by its true
mask, which the finder has no part in; with one thread and with as many as a command uses; and each mask
goes through a plain pipeline (``skeletonize``, skan's table of branches), all in turns in one process.
Medians are told, of any wall but the first of a process. Seconds on the clock are told first, those of the
processor after them: on a busy machine these are the ones to go by. Those of the parts are of the
processor, with one thread.
"""

import argparse
import os
import statistics
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from made_walls import EARLY, SETTINGS, cache_folder, kept, lay_photo_flat
from numpy.typing import NDArray
from skan import Skeleton, summarize
from skimage.morphology import skeletonize
from speed import Stages, timed, watched

from rootread.errors import WallRefused
from rootread.find import RootMap
from rootread.follow import courses, follow, follow_roots
from rootread.memory import keep_freed_memory
from rootread.plane import Surface, WallImage
from rootread.plane.flat import photo_map
from rootread.scene import Scene, draw_scene, render
from rootread.scene.describe import Root
from rootread.scene.draw_ground import draw_ground, draw_surface
from rootread.scene.draw_view import draw_backdrop, draw_camera, draw_light, draw_scale
from rootread.scene.grow import draw_habit, grow_fan
from rootread.scene.soils import SOILS

PARTS = {
    "strands": (courses, ["find_strands"]),
    "graph": (courses, ["graph_of_strands"]),
    "joins": (
        courses,
        ["edge_ends", "refuse_near_ends", "end_costs", "possible_joins", "ends_in_context"],
    ),
    "looks at joins": (courses, ["look_at_joins"]),
    "flow": (courses, ["choose_paths"]),
    "centrelines": (courses, ["path_centreline"]),
    "second thoughts": (courses, ["regrouped"]),
    "lineage": (courses, ["find_lineage"]),
    "widths": (follow, ["with_measured_widths"]),
    "confidence": (follow, ["with_cuts", "with_confidence"]),
}
"""The functions that ``follow_roots`` calls, by the part that is theirs."""
SEED = 900_831
WIDE_IN = 80.0
GOLDEN_SECTION = (5**0.5 - 1) / 2
PHOTO_PX_PER_IN = 75.0
"""Of the whole photo: enough for walls to be laid flat at the usual 72 pixels an inch, or nearly."""
SEEN_LENGTH_IN, SEEN_WIDTH_IN = 1.0, 0.025
"""Roots at least so long and so wide are counted when a wall is made; most are followed, some as two."""


@dataclass(frozen=True, eq=False)
class Flat:
    """What following gets of one wall, and the true mask in place of the finder's."""

    surface: Surface
    image: WallImage
    found: RootMap
    true: RootMap


def crowded_scene(seed: int, roots: int, width_in: float | None) -> Scene:
    """A wall with as many roots as asked for; twice as wide as usual, say, where a width is given."""
    rng = np.random.default_rng(seed)
    scene = draw_scene(rng, kind="open", difficulty="typical", scale="staff")
    if width_in is not None:
        scene = _widened(scene, width_in, rng)
    habit = draw_habit(rng, scene.difficulty)
    crowns, grown = [], []
    while _count_seen(grown) < roots:
        # However many there are, they stand spread over the wall.
        crown = replace(scene.crowns[0], x_in=(len(crowns) + 0.5) * GOLDEN_SECTION % 1 * scene.width_in)
        seat = [(crown.x_in, crown.z_in)]
        crowns.append(crown)
        grown += grow_fan(rng, habit, seat, scene.layers, scene.cracks, scene.width_in, scene.depth_in)
    # What lies deepest in the wall is drawn first.
    grown.sort(key=lambda root: float(np.median(root.out_in)))
    return replace(scene, crowns=tuple(crowns), roots=tuple(grown))


def _widened(scene: Scene, width_in: float, rng: np.random.Generator) -> Scene:
    """The scene with a wall of another width and the same depth."""
    depth_in = scene.depth_in
    ground = draw_ground(rng, tuple(SOILS), scene.difficulty, width_in, depth_in)
    return replace(
        scene,
        width_in=width_in,
        surface=draw_surface(rng, width_in),
        ground=ground,
        light=draw_light(rng, width_in, depth_in),
        scale=draw_scale(rng, "staff", width_in, depth_in),
        backdrop=draw_backdrop(rng, width_in, depth_in, ground),
        camera=draw_camera(rng, width_in, depth_in),
    )


def _count_seen(roots: list[Root]) -> int:
    """Roots long and wide enough to be seen."""
    return sum(
        bool(
            np.ptp(root.points, axis=0).max() >= SEEN_LENGTH_IN and np.median(root.width_in) >= SEEN_WIDTH_IN
        )
        for root in roots
    )


def made_flat(scene: Scene, photo: Path) -> Flat | str:
    """The scene photographed and laid flat, its roots found; why not, where its photo is refused."""
    width_px = round(PHOTO_PX_PER_IN * scene.width_in / 16) * 16
    rendered = render(scene, (width_px, width_px * 3 // 4))
    photo.parent.mkdir(parents=True, exist_ok=True)
    photo.write_bytes(rendered.jpeg)
    flat = lay_photo_flat(photo)
    if isinstance(flat, str):
        return flat
    plane, image, found = flat
    at = photo_map(plane.to_photo, plane.lens, image.grid)
    mask = (cv2.remap(rendered.root_mask, at[..., 0], at[..., 1], cv2.INTER_LINEAR) > 127) & image.soil
    return Flat(plane.surface, image, found, RootMap(mask.astype(np.float32), mask, image.grid))


def plain(mask: NDArray[np.bool_]) -> None:
    """What an afternoon's script makes of a mask: its skeleton and a table of branches."""
    summarize(Skeleton(skeletonize(mask)), separator="_")


@contextmanager
def parts_into(stages: Stages) -> Iterator[None]:
    """The parts of following add their seconds."""
    with ExitStack() as watching:
        for part, (module, names) in PARTS.items():
            for name in names:
                watching.enter_context(watched(module, name, part, stages))
        yield


@dataclass(frozen=True)
class Timed:
    """Seconds of one wall by one mask: on the clock and of the processor, medians."""

    traces: int
    seconds: dict[str, tuple[float, float]]
    """Of the plain pipeline and of following, by the number of threads."""
    parts: dict[str, float]
    """Of the processor, with one thread."""


def time_following(flat: Flat, root_map: RootMap, threads: int, repeat: int) -> Timed:
    """All in turns; the first turn does not count."""
    counted = 0

    def followed() -> None:
        nonlocal counted
        counted = len(follow_roots(root_map, flat.image, flat.surface, SETTINGS.follow))

    ways: dict[str, tuple[int, Callable[[], Any]]] = {
        "plain": (1, lambda: plain(root_map.mask)),
        "one": (1, followed),
        "many": (threads, followed),
    }
    found: dict[str, list[Stages]] = defaultdict(list)
    for turn in range(repeat + 1):
        for name, (count, work) in ways.items():
            cv2.setNumThreads(count)
            stages: Stages = {}
            with parts_into(stages), timed(stages, "all"):
                work()
            if turn > 0:
                found[name].append(stages)
    seconds = {name: (_median(runs, "all", 0), _median(runs, "all", 1)) for name, runs in found.items()}
    return Timed(counted, seconds, {part: _median(found["one"], part, 1) for part in PARTS})


def _median(runs: list[Stages], name: str, which: int) -> float:
    return statistics.median(run.get(name, (0.0, 0.0))[which] for run in runs)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--roots", type=int, nargs="+", default=[100, 200, 300])
    parser.add_argument("--repeat", type=int, default=5)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--cache", type=Path, default=cache_folder())
    parser.add_argument("--stale", action="store_true", help="use what is kept, whatever the code")
    given = parser.parse_args()
    keep_freed_memory()  # as the command does
    threads = cv2.getNumThreads()
    print(f"{os.cpu_count()} cores, {threads} threads, load {os.getloadavg()[0]:.1f}\n")
    print(f"| wall | mask | roots | traces | plain | one thread | {threads} threads | {' | '.join(PARTS)} |")
    print("|---" * (7 + len(PARTS)) + "|")
    for kind, width_in in (("crowded", None), ("wide", WIDE_IN)):
        for roots in given.roots:
            name = f"{kind}-{given.seed}-{roots}"
            flat = kept(
                given.cache / "flat" / f"{name}.gz",
                EARLY,
                given.stale,
                lambda name=name, roots=roots, width_in=width_in: made_flat(
                    crowded_scene(given.seed, roots, width_in), given.cache / "scenes" / f"{name}.jpg"
                ),
            )
            if isinstance(flat, str):
                print(f"| {kind} | refused: {flat} |")
                continue
            for mask, root_map in (("found", flat.found), ("true", flat.true)):
                try:
                    done = time_following(flat, root_map, threads, given.repeat)
                except WallRefused as refused:
                    print(f"| {kind} | {mask} | {roots} | refused: {refused.cause} |", flush=True)
                    continue
                seconds = " | ".join(f"{clock:.2f}, {cpu:.2f}" for clock, cpu in done.seconds.values())
                parts = " | ".join(f"{done.parts[part]:.2f}" for part in PARTS)
                print(f"| {kind} | {mask} | {roots} | {done.traces} | {seconds} | {parts} |", flush=True)


if __name__ == "__main__":
    main()

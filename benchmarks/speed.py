"""How long a reading takes and how much memory, beside a plain pipeline and the floor, in one run.

    python benchmarks/speed.py                 everything, into a table
    python benchmarks/speed.py --repeat 5      the median of five

- **floor**: JPEG decode and one Gaussian pass over the photo; nothing can be faster and see anything.
- **plain**: what an afternoon's script does: scikit-image's ``sato``, a threshold, ``skeletonize``, skan's
  ``summarize``. It knows no scale, so it works on the photo's own pixels; **plain, shrunk** is the same on a
  picture brought to rootread's working resolution by someone who knows the scale. Neither knows plane, roots,
  layers or grade.
- **rootread**: the whole ``grade`` of one photo: read, judged, pictures, tables and report written.

Each measurement is a process of its own, all in turn, so that all meet the same machine. Each does its work
twice: ``first`` is what a command waits for that reads one photo, ``later`` what every other photo of a
folder takes, when libraries have made their tables and the process has its memory. Seconds on the
clock stand in the first line of each, processor seconds of all threads in the second: on a busy machine
the second is the one to go by, and no clock can be shorter than it divided by the cores.
"""

import argparse
import itertools
import json
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import cv2
import numpy as np

STAGES = {
    "read_photo": "photo",
    "find_plane": "plane",
    "lay_flat": "flat",
    "find_roots": "find",
    "follow_roots": "follow",
    "measure_wall": "measure",
    "find_layers": "layers",
    "grade_wall": "grade",
    "judge_wall": "judge",
}
"""The functions that ``rootread.wall`` calls, by the stage that is theirs."""
SEED = 900_777
WORKING_PX_PER_IN = 72.0
WALL_WIDTH_IN = 45.0
"""Of the made wall, about."""
Stages = dict[str, tuple[float, float]]
"""Seconds on the clock and of the processor, by stage."""
PHOTOS = {"12 MP": 4000, "48 MP": 8000}
"""Width of each photo, of 4 : 3."""
TIMES = ("first", "later")
TARGETS = "12 MP: 2.5 s and 1.2 GB on two cores, a third of the plain pipeline; 48 MP: under 3 times 12 MP."


def floor(photo: Path) -> Stages:
    """Decode and blur."""
    rgb = cv2.imdecode(np.frombuffer(photo.read_bytes(), np.uint8), cv2.IMREAD_COLOR)
    cv2.GaussianBlur(rgb, (0, 0), 2.0)
    return {}


def plain(photo: Path, width: int | None = None) -> Stages:
    """Ridges, threshold, skeleton, table of branches."""
    from skan import Skeleton, summarize
    from skimage.filters import apply_hysteresis_threshold, sato
    from skimage.morphology import skeletonize

    stages: Stages = {}
    with timed(stages, "photo"):
        grey = cv2.imdecode(np.frombuffer(photo.read_bytes(), np.uint8), cv2.IMREAD_GRAYSCALE)
        if width:
            grey = cv2.resize(grey, (width, round(width * grey.shape[0] / grey.shape[1])))
    with timed(stages, "find"):
        # Roots of 0.05 to 0.15 in, whose half width is the ridge's sigma.
        sigmas = np.array([0.02, 0.04, 0.07]) * grey.shape[1] / WALL_WIDTH_IN
        ridges = sato(grey.astype(np.float32) / 255, sigmas=sigmas, black_ridges=False)
        low, high = np.quantile(ridges, [0.9, 0.97])
        mask = apply_hysteresis_threshold(ridges, low, high)
    with timed(stages, "follow"):
        summarize(Skeleton(skeletonize(mask)), separator="_")
    return stages


def shrunk(photo: Path) -> Stages:
    """The same at rootread's working resolution."""
    return plain(photo, round(WALL_WIDTH_IN * WORKING_PX_PER_IN))


def whole(photo: Path) -> Stages:
    """The whole grade, by stage."""
    import rootread.wall
    from rootread.batch import grade_walls, plan_walls

    stages: Stages = {}
    with tempfile.TemporaryDirectory() as out, ExitStack() as watching:
        for name, stage in STAGES.items():
            watching.enter_context(watched(rootread.wall, name, stage, stages))
        with timed(stages, "all"):
            run = grade_walls(plan_walls([photo]), Path(out))
    assert run.refused == 0, "the photo was refused"
    in_all = np.array(stages.pop("all"))
    clock, cpu = in_all - np.sum(list(stages.values()), axis=0)
    return {**stages, "report": (float(clock), float(cpu))}


@contextmanager
def timed(into: Stages, name: str) -> Iterator[None]:
    """Seconds of a block, added under a name."""
    clock, cpu = time.perf_counter(), time.process_time()
    yield
    before = into.get(name, (0.0, 0.0))
    into[name] = before[0] + time.perf_counter() - clock, before[1] + time.process_time() - cpu


@contextmanager
def watched(module: Any, name: str, stage: str, stages: Stages) -> Iterator[None]:
    """A function of a module adds its seconds to its stage."""
    real = getattr(module, name)

    def watched(*arguments: Any, **named: Any) -> Any:
        with timed(stages, stage):
            return real(*arguments, **named)

    setattr(module, name, watched)
    yield
    setattr(module, name, real)


MEASURED: dict[str, Callable[[Path], Stages]] = {
    "floor": floor,
    "plain": plain,
    "plain, shrunk": shrunk,
    "rootread": whole,
}


def measure_here(name: str, photo: Path) -> None:
    """One measurement in this process, printed as JSON: the first time and the time after."""
    _warm(name)
    found = {}
    for time_of in TIMES:
        cpu, clock = time.process_time(), time.perf_counter()
        stages = MEASURED[name](photo)
        found[time_of] = {
            "clock": time.perf_counter() - clock,
            "cpu": time.process_time() - cpu,
            "mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
            "stages": stages,
        }
    print(json.dumps(found))


def _warm(name: str) -> None:
    """Imports and compiled code, which a run of many walls pays once."""
    if name == "rootread":
        import rootread.batch
        import rootread.compare  # noqa: F401 - for its loading
        from rootread.find.network import photo_probability
        from rootread.memory import keep_freed_memory

        keep_freed_memory()  # as the command does
        photo_probability(np.zeros((64, 64, 3), np.uint8))
    elif name.startswith("plain"):
        from skan import Skeleton, summarize

        summarize(Skeleton(np.eye(9, dtype=bool)), separator="_")


def in_a_process(*arguments: str) -> dict[str, Any]:
    """A measurement in a process of its own."""
    command = [sys.executable, str(Path(__file__)), *arguments]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return json.loads(done.stdout.splitlines()[-1])


def make_photos(folder: Path) -> None:
    """A made wall at each size; larger ones are enlarged with grain of their own."""
    from rootread.scene import draw_scene, render

    scene = draw_scene(np.random.default_rng(SEED), kind="mixed", scale="card")
    first = next(iter(PHOTOS.values()))
    rgb = render(scene, (first, first * 3 // 4)).rgb
    rng = np.random.default_rng(SEED)
    for name, width in PHOTOS.items():
        picture = cv2.resize(rgb, (width, width * 3 // 4), interpolation=cv2.INTER_CUBIC)
        if width != first:
            grain = rng.normal(0, 3, (width * 3 // 4, width)).astype(np.int16)[..., None]
            picture = np.clip(picture + grain, 0, 255).astype(np.uint8)
        place = str(folder / _file_name(name))
        cv2.imwrite(place, picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 90])


def _file_name(name: str) -> str:
    return f"{name.replace(' ', '')}.jpg"


def side_by_side(photos: dict[str, Path], repeat: int) -> str:
    """All on each photo, medians."""
    stage_names = [*dict.fromkeys(STAGES.values()), "report"]
    lines = [
        f"| photo | what | MB | s | {' | '.join(stage_names)} |",
        "|---" * (4 + len(stage_names)) + "|",
    ]
    for size, photo in photos.items():
        found = defaultdict(list)
        for _ in range(repeat):
            for name in MEASURED:
                found[name].append(in_a_process("--one", name, "--photo", str(photo)))
        for (name, both_times), time_of in itertools.product(found.items(), TIMES):
            runs = [run[time_of] for run in both_times]
            for place, kind in enumerate(("clock", "cpu")):
                stages = [_middle(runs, stage, place) for stage in stage_names]
                whole_s = statistics.median(run[kind] for run in runs)
                mb = statistics.median(run["mb"] for run in runs)
                first = [size, f"{name}, {time_of}", f"{mb:.0f}"] if place == 0 else ["", "processor", ""]
                lines.append(f"| {' | '.join([*first, f'{whole_s:.2f}', *stages])} |")
    return "\n".join(lines)


def _middle(runs: list[dict[str, Any]], stage: str, place: int) -> str:
    """Median seconds of a stage, blank where there is no such stage."""
    if stage not in runs[0]["stages"]:
        return ""
    return f"{statistics.median(run['stages'][stage][place] for run in runs):.2f}"


def throughput(photo: Path, count: int) -> str:
    """Walls an hour by ``jobs``."""
    from rootread.batch import grade_walls, plan_walls

    lines = ["| jobs | walls | s | walls an hour |", "|---|---|---|---|"]
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "photos"
        folder.mkdir()
        for number in range(count):
            (folder / f"wall{number}.jpg").write_bytes(photo.read_bytes())
        for jobs in (1, 2):
            started = time.perf_counter()
            grade_walls(plan_walls([folder]), Path(place) / f"out{jobs}", None, jobs)
            seconds = time.perf_counter() - started
            lines.append(f"| {jobs} | {count} | {seconds:.1f} | {3600 * count / seconds:.0f} |")
    return "\n".join(lines)


def start_up(repeat: int) -> str:
    """Seconds until a command's help is there, and of the imports."""
    main = "from rootread.cli import main; import sys; sys.argv = ['rootread', '--help']; main()"
    ways = {
        "python": "pass",
        "import rootread": "import rootread",
        "rootread --help": main,
        "import of everything": "import rootread.wall",
    }
    lines = ["| what | s |", "|---|---|"]
    for name, code in ways.items():
        seconds = []
        for _ in range(repeat):
            started = time.perf_counter()
            subprocess.run([sys.executable, "-c", code], capture_output=True, check=True)
            seconds.append(time.perf_counter() - started)
        lines.append(f"| {name} | {min(seconds):.2f} |")
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--walls", type=int, default=4, help="walls of the batch")
    parser.add_argument("--one", choices=list(MEASURED), help="one measurement, here")
    parser.add_argument("--photo", type=Path)
    parser.add_argument("--make", type=Path, help="write the photos into this folder")
    chosen = parser.parse_args()
    if chosen.make:
        return make_photos(chosen.make)
    if chosen.one:
        return measure_here(chosen.one, chosen.photo)
    with tempfile.TemporaryDirectory() as place:
        # In a process of its own: a child's peak memory counts from its parent's size.
        subprocess.run([sys.executable, str(Path(__file__)), "--make", place], check=True)
        photos = {name: Path(place) / _file_name(name) for name in PHOTOS}
        print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}. {TARGETS}\n")
        print(side_by_side(photos, chosen.repeat), end="\n\n")
        print(throughput(next(iter(photos.values())), chosen.walls), end="\n\n")
        print(start_up(chosen.repeat))
    return None


if __name__ == "__main__":
    main()

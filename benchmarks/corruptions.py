"""Common corruptions of photos, severities 1 to 5: what of a wall's reading stays, and is what is lost told?

    python benchmarks/corruptions.py --walls 3 --photos b02-blocked w01-open --kept readings.jsonl

Made walls with truth (seeds kept for measuring) and benchmark walls, all at 1600 x 1200, are read as
they are and with each of fifteen corruptions (``corrupt.py``). The verdict is compared with that of the
same wall's clean photo, scale and layers with the truth.

A reading counts as *wrong* if its verdict shares no word with the clean one,
its interval leaves out the clean grade, and it carries no caution that the
clean photo does not: confidently wrong. Every reading is kept in a file, so that a run cut short goes on.
"""

import argparse
import json
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass
from functools import lru_cache, partial
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from corrupt import CORRUPTIONS, corrupt
from made_walls import HELD_OUT_SEED, wall_list
from numpy.typing import NDArray
from scale import similarity

import rootread
from rootread.errors import WallRefused
from rootread.photo import Photo, read_photo
from rootread.report.story import cautions
from rootread.scene import draw_scene, render
from rootread.wall import Wall

PHOTO_PX = (1600, 1200)
SCALE_WRONG = 0.03
"""Of the true scale; a card is held to 0.5 % on clean photos."""
LAYER_NEAR_IN = 0.4
SEVERITIES = (1, 2, 3, 4, 5)
CLEAN = "clean"
BENCHMARK_WALLS = Path(__file__).parents[2] / "shared"


@dataclass(frozen=True, eq=False)
class KnownWall:
    """A clean photo and its truth."""

    rgb: NDArray[np.uint8]
    truth: dict[str, Any]


def made_wall(kind: str, seed: int) -> KnownWall:
    """A made wall."""
    scene = draw_scene(np.random.default_rng(seed), kind=kind)  # type: ignore[arg-type]
    made = render(scene, PHOTO_PX)
    return KnownWall(made.rgb, made.truth)


def benchmark_wall(name: str) -> KnownWall:
    """A benchmark wall at the same size, with its truth in the smaller photo's pixels."""
    rgb = read_photo(BENCHMARK_WALLS / "walls" / f"{name}.jpg").rgb
    truth = json.loads((BENCHMARK_WALLS / "walls-truth" / f"{name}.json").read_text(encoding="utf-8"))
    shrink = PHOTO_PX[0] / rgb.shape[1]
    # The centre of a photo's first pixel is at 0.
    smaller = np.array([[shrink, 0, (shrink - 1) / 2], [0, shrink, (shrink - 1) / 2], [0, 0, 1]])
    truth["photo_size"] = PHOTO_PX
    truth["object_plane_to_photo"] = smaller @ truth["object_plane_to_photo"]
    truth["distortion_centre"] = (smaller @ [*truth["distortion_centre"], 1])[:2]
    truth["focal_px"] *= shrink
    return KnownWall(cv2.resize(rgb, PHOTO_PX, interpolation=cv2.INTER_AREA), truth)


@dataclass(frozen=True)
class Reading:
    """What one photo gave."""

    wall: str
    corruption: str
    severity: int
    refused: str = ""
    scale_error: float = math.nan
    verdict: str = ""
    grade: float = math.nan
    grade_low: float = math.nan
    grade_high: float = math.nan
    layers_missed: int = 0
    layers_invented: int = 0
    cautions: tuple[str, ...] = ()

    @property
    def words(self) -> set[str]:
        """The verdict's words."""
        return set(self.verdict.split(" or "))


def read(name: str, known: KnownWall, corruption: str, severity: int) -> Reading:
    """One corrupted photo of a wall, read; ``clean`` leaves it as it is."""
    rgb = known.rgb
    if corruption != CLEAN:
        place = list(CORRUPTIONS).index(corruption)
        rgb = corrupt(rgb, corruption, severity, np.random.default_rng([place, severity]))
    try:
        wall = rootread.read_wall(Photo(path=None, rgb=rgb))
    except WallRefused as error:
        return Reading(name, corruption, severity, refused=str(error))
    found = [layer.depth_in for layer in wall.layers]
    true = _true_depths(known)
    return Reading(
        name,
        corruption,
        severity,
        scale_error=abs(abs(similarity(wall.plane, known.truth)) - 1),
        verdict=wall.grade.verdict,
        grade=wall.grade.score.value,
        grade_low=wall.grade.score.low,
        grade_high=wall.grade.score.high,
        layers_missed=sum(not _near(depth, found) for depth in true),
        layers_invented=sum(not _near(depth, true) for depth in found),
        cautions=tuple(_kinds(wall)),
    )


def _kinds(wall: Wall) -> Iterator[str]:
    """Each caution without its figures, which differ from photo to photo."""
    for caution in cautions(wall):
        yield "".join("#" if letter.isdigit() else letter for letter in caution)


def _near(depth: float, others: Sequence[float]) -> bool:
    return any(abs(depth - other) <= LAYER_NEAR_IN for other in others)


def _true_depths(known: KnownWall) -> list[float]:
    return [float(layer["z"]) for layer in known.truth["layers"]]


def is_kept(one: Reading, clean: Reading) -> bool:
    """Whether the verdict, or its interval, still says what the clean photo said."""
    return bool(one.words & clean.words) or one.grade_low <= clean.grade <= one.grade_high


def is_warned(one: Reading, clean: Reading) -> bool:
    """Whether it carries a caution that the clean photo does not, or no grade."""
    return bool(set(one.cautions) - set(clean.cautions)) or math.isnan(one.grade)


def readings(walls: dict[str, Callable[[], KnownWall]], kept: Path) -> Iterator[Reading]:
    """Every reading, from the file where it is there."""
    done = {}
    if kept.exists():
        for line in kept.read_text(encoding="utf-8").splitlines():
            one = Reading(**json.loads(line))
            done[one.wall, one.corruption, one.severity] = one
    every = [(CLEAN, 0), *((name, severity) for severity in SEVERITIES for name in CORRUPTIONS)]
    made = lru_cache(maxsize=None)(lambda name: walls[name]())
    for corruption, severity in every:
        for name in walls:
            if (name, corruption, severity) not in done:
                one = done[name, corruption, severity] = read(name, made(name), corruption, severity)
                with kept.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(asdict(one)) + "\n")
            yield done[name, corruption, severity]


def table(title: str, groups: dict[str, list[Reading]], clean: dict[str, Reading]) -> str:
    """A row a group, as Markdown."""
    lines = [
        f"| {title} | photos | refused | warned | scale | layers | grade | verdict | wrong |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for name, ones in groups.items():
        # A wall that is refused as it is says nothing of the corruption.
        ones = [one for one in ones if not clean[one.wall].refused]
        read_ones = [one for one in ones if not one.refused]
        warned = [one for one in read_ones if is_warned(one, clean[one.wall])]
        wrong = [one for one in read_ones if not is_kept(one, clean[one.wall]) and one not in warned]

        def share(holds: Callable[[Reading], bool], of: list[Reading] = read_ones) -> str:
            return f"{100 * sum(map(holds, of)) / len(of):.0f} %" if of else "-"

        cells = [
            name,
            str(len(ones)),
            str(len(ones) - len(read_ones)),
            str(len(warned)),
            share(lambda one: one.scale_error < SCALE_WRONG),
            share(lambda one: one.layers_missed == 0 and one.layers_invented == 0),
            share(lambda one: abs(one.grade - clean[one.wall].grade) <= 5),
            share(lambda one: is_kept(one, clean[one.wall])),
            str(len(wrong)),
        ]
        lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--walls", type=int, default=1, help="made walls of each kind")
    parser.add_argument("--photos", nargs="*", default=[], help="names of benchmark walls")
    parser.add_argument("--kept", type=Path, default=Path("corruptions.jsonl"))
    chosen = parser.parse_args()
    walls: dict[str, Callable[[], KnownWall]] = {
        f"{kind}-{seed}": partial(made_wall, kind, seed)
        for kind, seed in wall_list(HELD_OUT_SEED + 50, chosen.walls)
    }
    walls |= {name: partial(benchmark_wall, name) for name in chosen.photos}
    every = list(readings(walls, chosen.kept))
    clean = {one.wall: one for one in every if one.corruption == CLEAN}
    rest = [one for one in every if one.corruption != CLEAN]
    by_severity = {f"{s}": [one for one in rest if one.severity == s] for s in SEVERITIES}
    print(table("severity", {CLEAN: list(clean.values()), **by_severity}, clean))
    print()
    mild = [one for one in rest if one.severity <= 2]
    for severities, ones in (("1 and 2", mild), ("3 to 5", [one for one in rest if one.severity > 2])):
        groups = {name: [one for one in ones if one.corruption == name] for name in CORRUPTIONS}
        print(table(f"severity {severities}", groups, clean), end="\n\n")
    for one in rest:
        if not one.refused and not is_kept(one, clean[one.wall]) and not is_warned(one, clean[one.wall]):
            print(
                f"wrong: {one.wall} {one.corruption} {one.severity}: {one.verdict} {one.grade:.0f}, "
                f"clean {clean[one.wall].verdict} {clean[one.wall].grade:.0f}"
            )


if __name__ == "__main__":
    main()

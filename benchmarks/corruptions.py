"""Common corruptions of photos, severities 1 to 5: what of a wall's reading stays, and is what is lost told?

    python benchmarks/corruptions.py --walls 3 --kept readings.jsonl

Made walls with truth (seeds kept for measuring) are read as they are and with
each of fifteen corruptions (``corrupt.py``). The verdict is compared with that
of the same wall's clean photo, scale and layers with the truth.

A reading counts as *wrong* if its verdict shares no word with the clean one,
its interval leaves out the clean grade, and it carries no caution that the
clean photo does not: confidently wrong. Every reading is kept in a file, so that a run cut short goes on.
"""

import argparse
import json
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from corrupt import CORRUPTIONS, corrupt
from made_walls import HELD_OUT_SEED, wall_list
from scale import similarity

import rootread
from rootread.errors import WallRefused
from rootread.photo import Photo
from rootread.report.story import cautions
from rootread.scene import Rendered, draw_scene, render
from rootread.wall import Wall

PHOTO_PX = (1600, 1200)
SCALE_WRONG = 0.03
"""Of the true scale; a card is held to 0.5 % on clean photos."""
LAYER_NEAR_IN = 0.4
SEVERITIES = (1, 2, 3, 4, 5)
CLEAN = "clean"


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


def read(name: str, made: Rendered, corruption: str, severity: int) -> Reading:
    """One corrupted photo of a wall, read; ``clean`` leaves it as it is."""
    rgb = made.rgb
    if corruption != CLEAN:
        place = list(CORRUPTIONS).index(corruption)
        rgb = corrupt(rgb, corruption, severity, np.random.default_rng([place, severity]))
    try:
        wall = rootread.read_wall(Photo(path=None, rgb=rgb))
    except WallRefused as error:
        return Reading(name, corruption, severity, refused=str(error))
    found = [layer.depth_in for layer in wall.layers]
    true = _true_depths(made)
    return Reading(
        name,
        corruption,
        severity,
        scale_error=abs(abs(similarity(wall.plane, made.truth)) - 1),
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


def _true_depths(made: Rendered) -> list[float]:
    return [float(layer["z"]) for layer in made.truth["layers"]]


def is_kept(one: Reading, clean: Reading) -> bool:
    """Whether the verdict, or its interval, still says what the clean photo said."""
    return bool(one.words & clean.words) or one.grade_low <= clean.grade <= one.grade_high


def is_warned(one: Reading, clean: Reading) -> bool:
    """Whether it carries a caution that the clean photo does not, or no grade."""
    return bool(set(one.cautions) - set(clean.cautions)) or math.isnan(one.grade)


def readings(walls: Sequence[tuple[str, int]], kept: Path) -> Iterator[Reading]:
    """Every reading, from the file where it is there."""
    known = {}
    if kept.exists():
        for line in kept.read_text(encoding="utf-8").splitlines():
            one = Reading(**json.loads(line))
            known[one.wall, one.corruption, one.severity] = one
    every = [(CLEAN, 0), *((name, severity) for severity in SEVERITIES for name in CORRUPTIONS)]
    made: dict[str, Rendered] = {}
    for corruption, severity in every:
        for kind, seed in walls:
            name = f"{kind}-{seed}"
            if (name, corruption, severity) not in known:
                if name not in made:
                    scene = draw_scene(np.random.default_rng(seed), kind=kind)  # type: ignore[arg-type]
                    made[name] = render(scene, PHOTO_PX)
                one = known[name, corruption, severity] = read(name, made[name], corruption, severity)
                with kept.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(asdict(one)) + "\n")
            yield known[name, corruption, severity]


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
    parser.add_argument("--walls", type=int, default=1, help="of each kind")
    parser.add_argument("--kept", type=Path, default=Path("corruptions.jsonl"))
    chosen = parser.parse_args()
    every = list(readings(wall_list(HELD_OUT_SEED + 50, chosen.walls), chosen.kept))
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

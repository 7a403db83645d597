"""How soon the desk answers, and how much memory it takes, at 12 and 50 megapixels.

    python benchmarks/desk.py

A demo photo is brought to each size and laid on a desk in a process of its own, which is asked over HTTP as
its page asks it. ``opened`` is the wall's figures and the overview picture together; every mend is timed
from the request to the figures in its answer, which are first figures where the photo has to be read again.
Seconds are on the clock and the best of three, so that other work on the machine counts little.
"""

import json
import math
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.request import Request, urlopen

import cv2

DEMO = Path(__file__).parent.parent / "sample_images" / "pit1-shallow.jpg"
WIDTHS_PX = {"12 MP": 4000, "50 MP": 8192}
REPEATS = 3
PAUSE_S = 0.1


class Asked:
    """A desk over one folder, in its own process."""

    def __init__(self, folder: Path) -> None:
        command = "from rootread.cli import main; main()"
        arguments = ["desk", str(folder), "--port", "0", "--no-browser"]
        self.process = subprocess.Popen(
            [sys.executable, "-u", "-c", command, *arguments], stdout=subprocess.PIPE, text=True
        )
        assert self.process.stdout is not None
        told = self.process.stdout.readline().removeprefix("Desk: ").strip()
        self.address, self.token = told.split("/#")

    def ask(self, path: str, value: Any = None) -> bytes:
        """The answer to a request; one with a value puts it there."""
        data = None if value is None else json.dumps(value).encode()
        method = "GET" if value is None else "PUT"
        request = Request(self.address + path, data, {"x-desk-token": self.token}, method=method)
        with urlopen(request, timeout=600) as answer:
            content: bytes = answer.read()
            return content

    def wall(self) -> dict[str, Any]:
        """What the page shows of the wall."""
        values: dict[str, Any] = json.loads(self.ask("/api/walls/wall"))
        return values

    def settled(self) -> dict[str, Any]:
        """The same, once nothing is left to read."""
        while not (values := self.wall()).get("settled"):
            time.sleep(PAUSE_S)
        return values

    def mend(self, **marks: Any) -> None:
        """Put marks on the wall as it is."""
        now = self.settled()
        value = {"marks": {"version": 1, **marks}, "revision": now["revision"]}
        self.seconds = timed(lambda: self.ask("/api/walls/wall/marks", value))

    def megabytes(self, what: str) -> float:
        """Memory of the process, from the kernel's own account."""
        status = Path(f"/proc/{self.process.pid}/status").read_text(encoding="utf-8")
        found = re.search(rf"{what}:\s+(\d+)", status)
        return int(found.group(1)) / 1024 if found else float("nan")


def timed(act: Callable[[], Any]) -> float:
    """Seconds on the clock."""
    begun = time.perf_counter()
    act()
    return time.perf_counter() - begun


def measured(width_px: int) -> dict[str, float]:
    """Seconds of each thing a person does, and megabytes."""
    with tempfile.TemporaryDirectory() as folder:
        photo = cv2.imread(str(DEMO))
        assert photo is not None
        height_px = round(photo.shape[0] * width_px / photo.shape[1])
        larger = cv2.resize(photo, (width_px, height_px), interpolation=cv2.INTER_CUBIC)
        cv2.imwrite(str(Path(folder) / "wall.jpg"), larger)
        desk = Asked(Path(folder))
        try:
            return _measured(desk, width_px, height_px)
        finally:
            desk.process.kill()
            desk.process.wait()


def _measured(desk: Asked, width_px: int, height_px: int) -> dict[str, float]:
    figures = {
        "read": timed(desk.settled),
        "MB": desk.megabytes("VmRSS"),
        "MB at most": desk.megabytes("VmHWM"),
    }
    figures["opened"] = min(
        timed(lambda: (desk.wall(), desk.ask("/api/walls/wall/overview.jpg"))) for _ in range(REPEATS)
    )
    figures["a tile"] = timed(lambda: desk.ask("/api/walls/wall/tiles/0/2/2.jpg"))
    shown = desk.settled()
    reading = shown["reading"]
    root, other = sorted(reading["roots"], key=lambda root: -root["length_in"])[:2]
    layer = reading["layers"][0]["line_px"] if reading["layers"] else [[0, 0], [width_px - 1, 0]]
    down = [[width_px / 2, height_px * share] for share in (0.3, 0.4, 0.5)]
    mends: dict[str, dict[str, Any]] = {
        "root struck": {"roots_struck_px": [root["points_px"]]},
        "root drawn": {"roots_added": [{"points_px": down, "width_px": 9}]},
        "root parted": {"splits_px": [root["points_px"][len(root["points_px"]) // 2]]},
        "roots joined": {"joins_px": [[root["points_px"][-1], other["points_px"][0]]]},
        "flattened": {"flattened_px": [root["points_px"][: len(root["points_px"]) // 3]]},
        "layer moved": {"layers": [{"name": "", "line_px": [[x, y + 50] for x, y in layer]}]},
        "layer struck": {"layers_struck_px": [layer]},
        "loosened floor": {"loosened_floor_px": [[0, height_px * 0.3], [width_px - 1, height_px * 0.3]]},
        "ticked off": {"checked": shown["reads"]},
        "scale": {
            "scale_points": [{"px": place} for place in (down[0], down[2])],
            "distance_in": math.dist(down[0], down[2]) / reading["scale"]["px_per_in"],
        },
        "plumb": {"plumb_px": [down[0], down[2]]},
        "outline": {
            "outline_px": [
                [width_px * x, height_px * y] for x, y in ((0.1, 0.1), (0.9, 0.1), (0.9, 0.9), (0.1, 0.9))
            ]
        },
        "surface": {"surface_px": [[0, height_px * 0.05], [width_px - 1, height_px * 0.05]]},
        "soil stroke": {"strokes": [{"says": "soil", "points_px": down, "width_px": width_px / 100}]},
    }
    for name, marks in mends.items():
        times = []
        for _ in range(REPEATS):
            desk.mend(**marks)
            times.append(desk.seconds)
            desk.mend()
        figures[name] = min(times)
    return figures


def main() -> None:
    """Print the table."""
    found = {name: measured(width_px) for name, width_px in WIDTHS_PX.items()}
    print("| what |", " | ".join(found), "|")
    print("|---|" + "---|" * len(found))
    for what in next(iter(found.values())):
        digits = 0 if what.startswith("MB") else 2
        print(f"| {what} |", " | ".join(f"{figures[what]:.{digits}f}" for figures in found.values()), "|")


if __name__ == "__main__":
    main()

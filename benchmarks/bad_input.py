"""Bad input of every kind: photos, sheets, marks, settings, names, places and old results, damaged at random.

``write_case(kind, rng, box)`` lays one case out below the empty folder ``box``
and says what to do with it: a reader to call on one file, or a command line to
run. The same seed writes the same case. ``abuse.py`` runs thousands of them,
the tests a few hundred.
"""

import json
import os
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from bad_pictures import (
    TINY_PX,
    WALL_PX,
    Rng,
    damaged,
    empty_png,
    encoded,
    flipped,
    huge_or_odd,
    jpeg_claiming,
    netted,
    pictures,
)
from bad_values import (
    likely_marks,
    odd_length,
    odd_marks,
    odd_name,
    odd_settings,
    odd_sheet,
    odd_text,
    table,
    with_odd_cells,
)
from PIL import Image

from rootread.errors import RootreadError
from rootread.fieldsheet import COLUMNS


@dataclass(frozen=True)
class Case:
    """One case laid out: call ``reader`` on ``file``, or run ``arguments`` on the command line."""

    reader: str = ""
    file: Path = Path()
    arguments: tuple[str, ...] = ()
    must_refuse: bool = False
    """The input is beyond repair: a reading would be a wrong one."""


def write_case(kind: str, rng: Rng, box: Path) -> Case:
    """Lay out one case of a kind in the folder ``box``, which is empty."""
    return KINDS[kind](rng, box)


def _photo_bytes(rng: Rng, box: Path) -> Case:
    """Damaged bytes for the photo reader."""
    files = pictures(TINY_PX)
    name = str(rng.choice(list(files)))
    data = files[name]
    way = int(rng.integers(12))
    refuse = False
    if way == 0:
        data = huge_or_odd(data, name, rng)
    elif way == 1:
        other = files[str(rng.choice(list(files)))]
        data = data[: int(rng.integers(4, 400))] + other[int(rng.integers(4, 400)) :]
    elif way == 2:
        # A JPEG cut within its picture shows grey below the cut: it must not be read as a whole wall.
        name = "plain.jpg"
        data = files[name]
        start = data.rfind(b"\xff\xda") + 20
        data = data[: int(rng.integers(start, start + (len(data) - start) * 9 // 10))]
        refuse = True
    else:
        for _ in range(int(rng.integers(1, 4))):
            data = damaged(data, rng) or data
    file = box / name
    file.write_bytes(data)
    return Case(reader="photo", file=file, must_refuse=refuse)


def _photo_run(rng: Rng, box: Path) -> Case:
    """A damaged photo through the whole command."""
    folder = _folder(box)
    name, data = "plain.jpg", pictures(WALL_PX)["plain.jpg"]
    way = int(rng.integers(6))
    if way == 0:
        data = jpeg_claiming(data, int(rng.integers(600, 1400)), int(rng.integers(500, 1400)))
    elif way == 1:
        name = "still.png"
        data = empty_png(int(rng.integers(600, 3000)), int(rng.integers(600, 3000)))
    elif way == 2:
        name = "narrow.png"
        data = empty_png(int(rng.integers(1, 40)), int(rng.integers(20_000, 60_000)))
    elif way == 3:
        name = "noise.png"
        shape = (int(rng.integers(550, 900)), int(rng.integers(600, 900)), 3)
        data = encoded(Image.fromarray(rng.integers(0, 256, shape).astype(np.uint8)), "PNG")
    else:
        data = flipped(data, rng, first=data.rfind(b"\xff\xda") + 20)
    (folder / name).write_bytes(data)
    command = ("grade", str(folder), "--out", str(box / "out")), ("check", str(folder)), ("check", "--json")
    chosen = command[int(rng.integers(2))]
    return Case(arguments=chosen)


def _net_run(rng: Rng, box: Path) -> Case:
    """What looks like roots everywhere, small or as large as a photo, through the whole command."""
    folder = _folder(box)
    size = (900, 675) if rng.random() < 0.7 else (2400, 1800)
    (folder / "net.jpg").write_bytes(encoded(Image.fromarray(netted(rng, size)), "JPEG", quality=90))
    return Case(arguments=("grade", str(folder), "--out", str(box / "out")))


def _sheet_bytes(rng: Rng, box: Path) -> Case:
    """A damaged or odd sheet for its reader, matched with a few photos."""
    file = box / "sheet.csv"
    text = odd_sheet(rng)
    encoding = str(rng.choice(["utf-8", "utf-8-sig", "utf-16", "utf-16-be", "utf-32", "cp1252", "gb18030"]))
    data = text.encode(encoding, "replace")
    file.write_bytes(data if rng.random() < 0.5 else damaged(data, rng))
    return Case(reader="sheet", file=file)


def _sheet_run(rng: Rng, box: Path) -> Case:
    """An odd sheet beside a photo that is refused early, or now and then one that is read."""
    folder = _folder(box)
    is_read = rng.random() < 0.12
    photo = pictures(WALL_PX if is_read else TINY_PX)["plain.jpg"]
    (folder / "plain.jpg").write_bytes(photo)
    # Most cells hold together, so that the run gets beyond the sheet and writes them out.
    cells = {column: odd_text(rng) for column in ("pit", "treatment", "date", "crop", "stage", "notes")}
    if rng.random() < 0.5:
        cells["wall"] = odd_text(rng)
    if rng.random() < 0.5:
        column = str(rng.choice(list(COLUMNS)))
        cells[column] = odd_length(rng)
    cells["photo"] = "plain.jpg"
    (folder / "sheet.csv").write_text(table([cells]), encoding="utf-8", newline="")
    return Case(arguments=("grade", str(folder), "--out", str(box / "out")))


def _marks_bytes(rng: Rng, box: Path) -> Case:
    """Damaged or odd marks for their reader."""
    file = box / "wall.json"
    data = json.dumps(odd_marks(rng)).encode()
    if rng.random() < 0.1:
        data = b"[" * int(rng.integers(1, 200_000)) + data
    file.write_bytes(data if rng.random() < 0.6 else damaged(data, rng))
    return Case(reader="marks", file=file)


def _marks_run(rng: Rng, box: Path) -> Case:
    """Odd marks on a photo that is otherwise read."""
    folder = _folder(box)
    (folder / "plain.jpg").write_bytes(pictures(WALL_PX)["progressive.jpg"])
    (folder / "marks").mkdir()
    marks = likely_marks(rng)
    (folder / "marks" / "plain.json").write_text(json.dumps(marks), encoding="utf-8")
    command = (
        ("grade", str(folder), "--out", str(box / "out")) if rng.random() < 0.7 else ("check", str(folder))
    )
    return Case(arguments=command)


def _settings_bytes(rng: Rng, box: Path) -> Case:
    """Damaged or odd settings for their reader."""
    file = box / "mine.toml"
    data = odd_settings(rng, int(rng.integers(1, 6))).encode("utf-8", "replace")
    file.write_bytes(data if rng.random() < 0.7 else damaged(data, rng))
    return Case(reader="settings", file=file)


def _settings_run(rng: Rng, box: Path) -> Case:
    """Settings that pass their reader, at the ends of what it allows, on a wall that is otherwise read."""
    from rootread.settings import read_settings

    folder = _folder(box)
    (folder / "plain.jpg").write_bytes(pictures(WALL_PX)["plain.jpg"])
    file = box / "mine.toml"
    for _ in range(200):
        file.write_text(odd_settings(rng, 1), encoding="utf-8")
        try:
            read_settings(file)
            break
        except RootreadError:
            continue
    out = str(box / "out")
    return Case(arguments=("grade", str(folder), "--out", out, "--settings", str(file)))


def _names(rng: Rng, box: Path) -> Case:
    """Photos, folders and walls named in every script, as long as the system lets them, or with odd bytes."""
    folder = _folder(box)
    name = odd_name(rng)
    picture = pictures(WALL_PX if rng.random() < 0.1 else TINY_PX)["plain.jpg"]
    written = os.fsencode(folder) + b"/" + name + b".jpg"
    if len(name) + 4 > 255:
        written = os.fsencode(folder) + b"/plain.jpg"
    with open(written, "wb") as file:  # noqa: PTH123 - the name may be no text
        file.write(picture)
    rows = [{"photo": os.fsdecode(name)[:60], "wall": odd_text(rng) * int(rng.integers(1, 30))}]
    if rng.random() < 0.6:
        (folder / "sheet.csv").write_text(table(rows), encoding="utf-8", errors="replace", newline="")
    place = folder if rng.random() < 0.5 else Path(os.fsdecode(written))
    return Case(arguments=("grade", str(place), "--out", str(box / "out")))


def _put(place: Path, what: str) -> None:
    """Something that is not what its name says."""
    if what == "folder":
        place.mkdir(parents=True)
    elif what == "pipe":
        os.mkfifo(place)
    elif what == "circle":
        place.symlink_to(place)
    elif what == "device":
        place.symlink_to("/dev/zero")
    elif what == "gone":
        place.symlink_to(place.parent / "gone.jpg")
    elif what == "empty":
        place.write_bytes(b"")
    elif what == "photo":
        place.write_bytes(pictures(TINY_PX)["plain.jpg"])


def _places(rng: Rng, box: Path) -> Case:
    """Things that are not what their name says: folders, pipes, links in a circle, devices, nothing."""
    folder = _folder(box)
    (folder / "marks").mkdir()
    photo, settings, out = folder / "plain.jpg", box / "mine.toml", box / "out"
    _put(photo, str(rng.choice(["folder", "pipe", "circle", "device", "empty", "gone", *["photo"] * 4])))
    for place in (folder / "sheet.csv", folder / "marks" / "plain.json", settings):
        _put(place, str(rng.choice(["folder", "pipe", "circle", "device", "empty", "nothing", "nothing"])))
    kept = str(rng.choice(["circle", "photo", "long", "full", "nothing", "nothing"]))
    if kept == "long":
        out = out / ("long" * 80)
    elif kept == "full":
        (out / "pictures").mkdir(parents=True)
        (out / "walls.csv").mkdir()
    else:
        _put(out, kept)
    place = folder if rng.random() < 0.5 else photo
    with_settings = ("--settings", str(settings)) if rng.random() < 0.3 else ()
    commands = (
        ("grade", str(place), "--out", str(out), *with_settings),
        ("check", str(place), *with_settings),
        ("mask", str(photo), "--out", str(out / "mask.png")),
        ("contrast", str(place)),
        ("contrast", str(out)),
    )
    return Case(arguments=commands[int(rng.integers(len(commands)))])


def _old_results(rng: Rng, box: Path) -> Case:
    """A results folder that someone edited or a disk damaged, run over again or compared."""
    out = box / "out"
    folder = _folder(box)
    (folder / "plain.jpg").write_bytes(pictures(TINY_PX)["plain.jpg"])
    for name, content in _results().items():
        place = out / name
        place.parent.mkdir(parents=True, exist_ok=True)
        damage = rng.random() < 0.6
        if name.endswith(".csv") and rng.random() < 0.3:
            content = with_odd_cells(content.decode(), rng).encode("utf-8", "replace")
        place.write_bytes(damaged(content, rng) if damage else content)
    if rng.random() < 0.5:
        return Case(
            arguments=("contrast", str(out), "--by", str(rng.choice(["treatment", "pit", "nothing"])))
        )
    return Case(arguments=("grade", str(folder), "--out", str(out)))


KINDS: dict[str, Callable[[Rng, Path], Case]] = {
    "photo": _photo_bytes,
    "sheet": _sheet_bytes,
    "marks": _marks_bytes,
    "settings": _settings_bytes,
    "names": _names,
    "places": _places,
    "results": _old_results,
    "sheet run": _sheet_run,
    "photo run": _photo_run,
    "marks run": _marks_run,
    "settings run": _settings_run,
    "net run": _net_run,
}


@cache
def _results() -> dict[str, bytes]:
    """What a run of two walls wrote, by file name."""
    from rootread.batch import grade_walls, plan_walls

    with tempfile.TemporaryDirectory() as place:
        box = Path(place)
        folder = _folder(box)
        (folder / "plain.jpg").write_bytes(pictures(TINY_PX)["plain.jpg"])
        (folder / "read.jpg").write_bytes(pictures(WALL_PX)["plain.jpg"])
        rows = [
            {"photo": "plain.jpg", "pit": "1", "treatment": "deep"},
            {"photo": "read.jpg", "pit": "1", "treatment": "shallow"},
        ]
        (folder / "sheet.csv").write_text(table(rows), encoding="utf-8")
        out = box / "out"
        grade_walls(plan_walls([folder]), out)
        kept = (".csv", ".json")
        files = [file for file in sorted(out.rglob("*")) if file.suffix in kept]
        return {str(file.relative_to(out)): file.read_bytes() for file in files}


def _folder(box: Path) -> Path:
    folder = box / "photos"
    folder.mkdir(exist_ok=True)
    return folder

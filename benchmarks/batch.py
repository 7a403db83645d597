"""Long runs: killed at random moments, memory over many walls, and what a second job gains.

usage: python benchmarks/batch.py kills|walls PHOTOS [--out DIR] [--kills 20]
       [--copies 200] [--pieces 4] [--jobs 1 2] [--width PX] [--free]

PHOTOS is a folder of photos with its sheet. ``kills`` grades it once undisturbed; then it
grades it again, killed with SIGKILL at random moments over the time that took, and once
to the end, and compares every file byte for byte, times aside. ``walls`` grades as many
copies of the photos with one job held to one core, with two on two cores, and with one
job free to use all (``--free``), in turns, so that all see the same machine, and watches
how much memory the processes hold. On a busy machine the seconds of the clock say
little; processor seconds are told beside them, with the load.
"""

import argparse
import os
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path
from typing import NamedTuple

import cv2
import numpy as np

PAGE_BYTES = os.sysconf("SC_PAGE_SIZE")
WATCH_S = 0.25
SEED = 7


class Way(NamedTuple):
    """How a run is started."""

    jobs: int
    cores: int

    def __str__(self) -> str:
        return f"{self.jobs} {'job' if self.jobs == 1 else 'jobs'} on {self.cores} of the cores"

    def hold(self) -> None:
        """Hold this process and those it starts to the cores."""
        os.sched_setaffinity(0, set(sorted(os.sched_getaffinity(0))[: self.cores]))


def command(photos: Path, out: Path, jobs: int = 1) -> list[str]:
    code = "from rootread.cli import main; main()"
    return [sys.executable, "-c", code, "grade", str(photos), "--out", str(out), "--jobs", str(jobs)]


def files_of(out: Path) -> dict[str, bytes]:
    """Every file, the seconds a wall took blanked."""
    found = {}
    for path in sorted(out.rglob("*")):
        if path.is_file():
            content = path.read_bytes()
            if path.name == "walls.csv":
                content = b"\n".join(row.rpartition(b",")[0] for row in content.splitlines())
            elif path.parent.name == "records":
                content = re.sub(rb'"seconds":[\d.]+', b'"seconds":', content)
            found[str(path.relative_to(out))] = content
    return found


def kills(photos: Path, out: Path, times: int) -> None:
    quiet, killed = out / "quiet" / "graded", out / "killed" / "graded"
    began = time.monotonic()
    subprocess.run(command(photos, quiet), check=False, capture_output=True)
    whole_s = time.monotonic() - began
    draw = np.random.default_rng(SEED)
    struck, ended, anew = 0, 0, True
    while struck < times:
        # Runs go on where the last one was killed; once all is done, and now and then, one begins anew.
        if anew:
            shutil.rmtree(killed, ignore_errors=True)
        moment_s = float(draw.uniform(0, whole_s))
        run = subprocess.Popen(
            command(photos, killed, jobs=1 + struck % 2),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        try:
            run.wait(timeout=moment_s)
            ended, anew = ended + 1, True
        except subprocess.TimeoutExpired:
            os.killpg(run.pid, 9)
            run.wait()
            struck += 1
            anew = struck % 5 == 0
    subprocess.run(command(photos, killed), check=False, capture_output=True)
    ours, theirs = files_of(quiet), files_of(killed)
    different = sorted(name for name in ours.keys() | theirs.keys() if ours.get(name) != theirs.get(name))
    print(
        f"{struck} runs killed within {whole_s:.0f} s, {ended} more ended first; {len(ours)} files compared"
    )
    print("all the same" if not different else f"different: {', '.join(different)}")


def resident_mb(pid: int) -> float:
    """Memory of a process and of those it started."""
    total = 0.0
    try:
        total += int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * PAGE_BYTES / 1e6
        for task in Path(f"/proc/{pid}/task").iterdir():
            children = (task / "children").read_text().split()
            total += sum(resident_mb(int(child)) for child in children)
    except (OSError, IndexError):
        pass  # it has ended
    return total


def watched(photos: Path, out: Path, way: Way) -> tuple[float, float, list[tuple[int, float]]]:
    """Seconds of a run, processor seconds, and (walls done, MB held) as it went."""
    began, used = time.monotonic(), os.times()
    quiet = subprocess.DEVNULL
    run = subprocess.Popen(command(photos, out, way.jobs), stdout=quiet, stderr=quiet, preexec_fn=way.hold)
    seen = []
    while run.poll() is None:
        seen.append((len(list((out / "records").glob("*.json"))), resident_mb(run.pid)))
        time.sleep(WATCH_S)
    took, now = time.monotonic() - began, os.times()
    cpu_s = now.children_user + now.children_system - used.children_user - used.children_system
    return took, cpu_s, seen


def many_walls(photos: Path, out: Path, copies: int, pieces: int, ways: list[Way], width_px: int) -> None:
    """Copies graded in pieces, each piece in every way, in turns."""
    originals = sorted(p for p in photos.iterdir() if p.suffix.lower() in (".jpg", ".jpeg", ".png"))
    contents = [content_of(original, width_px) for original in originals]
    seconds, processor = dict.fromkeys(ways, 0.0), dict.fromkeys(ways, 0.0)
    for piece in range(pieces):
        folder = out / f"photos-{piece}"
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
        for number in range(copies // pieces):
            which = number % len(originals)
            # Two bytes after the picture's end: another file, the same picture.
            copy = folder / f"{number:03d}-{originals[which].name}"
            copy.write_bytes(contents[which] + number.to_bytes(2, "big"))
        for way in ways if piece % 2 == 0 else ways[::-1]:
            target = out / f"graded-{piece}-{way.jobs}-{way.cores}"
            shutil.rmtree(target, ignore_errors=True)
            took_s, cpu_s, seen = watched(folder, target, way)
            seconds[way] += took_s
            processor[way] += cpu_s
            print(
                f"piece {piece}, {way}: {took_s:.0f} s, {cpu_s:.0f} processor seconds, "
                f"load {os.getloadavg()[0]:.1f}; {memory_words(seen)}",
                flush=True,
            )
    first = ways[0]
    for way in ways[1:]:
        by_clock = seconds[first] / seconds[way]
        by_processor = way.jobs / first.jobs * processor[first] / processor[way]
        print(f"{way} against {first}: {by_clock:.2f} times as fast by the clock")
        print(f"and {by_processor:.2f} times by processor seconds, were there a free core for each job")


def content_of(photo: Path, width_px: int) -> bytes:
    """A photo's file, made smaller where a width is given."""
    if not width_px:
        return photo.read_bytes()
    picture = cv2.imread(str(photo))
    size = (width_px, round(picture.shape[0] * width_px / picture.shape[1]))
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    return cv2.imencode(photo.suffix, small)[1].tobytes()


def memory_words(seen: list[tuple[int, float]]) -> str:
    walls, held = np.array(seen).T
    total = walls.max()
    quarters = [held[(walls > total * k / 4) & (walls <= total * (k + 1) / 4)] for k in range(4)]
    peaks = ", ".join(f"{quarter.max():.0f}" if len(quarter) else "-" for quarter in quarters)
    return f"{total:.0f} walls, most memory in each quarter of them: {peaks} MB"


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("what", choices=("kills", "walls"))
    parser.add_argument("photos", type=Path)
    parser.add_argument("--out", type=Path, default=Path("out/batch"))
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--copies", type=int, default=200)
    parser.add_argument("--pieces", type=int, default=4)
    parser.add_argument("--jobs", type=int, nargs="+", default=[1, 2], help="each held to as many cores")
    parser.add_argument("--width", type=int, default=0, help="of the copies, in pixels; 0 leaves them")
    parser.add_argument("--free", action="store_true", help="one job on all cores as well")
    given = parser.parse_args()
    if given.what == "kills":
        kills(given.photos, given.out, given.kills)
    else:
        ways = [Way(jobs, jobs) for jobs in given.jobs]
        ways += [Way(1, len(os.sched_getaffinity(0)))] if given.free else []
        many_walls(given.photos, given.out, given.copies, given.pieces, ways, given.width)


if __name__ == "__main__":
    main()

"""Long runs: killed at random moments, memory over many walls, and what a second job gains.

usage: python benchmarks/batch.py kills|walls PHOTOS [--out DIR] [--kills 20]
       [--copies 200] [--pieces 4] [--jobs 1 2]

PHOTOS is a folder of photos with its sheet. ``kills`` grades it once undisturbed; then it
grades it again, killed with SIGKILL at random moments over the time that took, and once
to the end, and compares every file byte for byte, times aside. ``walls`` grades as many
copies of the photos with one job and with two, in turns, so that both see the same
machine, and watches how much memory the processes hold. On a busy machine the seconds
of the clock say little; processor seconds are told beside them, with the load.
"""

import argparse
import os
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

PAGE_BYTES = os.sysconf("SC_PAGE_SIZE")
WATCH_S = 0.25
SEED = 7


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
    ended = 0
    for number in range(times):
        if number % 5 == 0:
            # Runs go on where the last one was killed; now and then one begins anew.
            shutil.rmtree(killed, ignore_errors=True)
        moment_s = float(draw.uniform(0, whole_s))
        run = subprocess.Popen(
            command(photos, killed, jobs=1 + number % 2),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        try:
            run.wait(timeout=moment_s)
            ended += 1
        except subprocess.TimeoutExpired:
            os.killpg(run.pid, 9)
            run.wait()
    subprocess.run(command(photos, killed), check=False, capture_output=True)
    ours, theirs = files_of(quiet), files_of(killed)
    different = sorted(name for name in ours.keys() | theirs.keys() if ours.get(name) != theirs.get(name))
    print(f"{times} runs killed over {whole_s:.0f} s ({ended} had ended before); {len(ours)} files compared")
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


def watched(photos: Path, out: Path, jobs: int) -> tuple[float, float, list[tuple[int, float]]]:
    """Seconds of a run, processor seconds, and (walls done, MB held) as it went."""
    began, used = time.monotonic(), os.times()
    run = subprocess.Popen(command(photos, out, jobs), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    seen = []
    while run.poll() is None:
        seen.append((len(list((out / "records").glob("*.json"))), resident_mb(run.pid)))
        time.sleep(WATCH_S)
    took, now = time.monotonic() - began, os.times()
    cpu_s = now.children_user + now.children_system - used.children_user - used.children_system
    return took, cpu_s, seen


def many_walls(photos: Path, out: Path, copies: int, pieces: int, jobs: list[int]) -> None:
    """Copies graded in pieces, each piece by every number of jobs, in turns."""
    originals = sorted(p for p in photos.iterdir() if p.suffix.lower() in (".jpg", ".jpeg", ".png"))
    seconds, processor = dict.fromkeys(jobs, 0.0), dict.fromkeys(jobs, 0.0)
    for piece in range(pieces):
        folder = out / f"photos-{piece}"
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
        for number in range(copies // pieces):
            original = originals[number % len(originals)]
            # Two bytes after the picture's end: another file, the same picture.
            copy = folder / f"{number:03d}-{original.name}"
            copy.write_bytes(original.read_bytes() + number.to_bytes(2, "big"))
        for count in jobs if piece % 2 == 0 else jobs[::-1]:
            target = out / f"graded-{piece}-{count}"
            shutil.rmtree(target, ignore_errors=True)
            took_s, cpu_s, seen = watched(folder, target, count)
            seconds[count] += took_s
            processor[count] += cpu_s
            print(
                f"piece {piece}, jobs {count}: {took_s:.0f} s, {cpu_s:.0f} processor seconds, "
                f"load {os.getloadavg()[0]:.1f}; {memory_words(seen)}",
                flush=True,
            )
    first = jobs[0]
    for count in jobs[1:]:
        by_clock = seconds[first] / seconds[count]
        by_processor = count / first * processor[first] / processor[count]
        print(f"{count} jobs against {first}: {by_clock:.2f} times as fast by the clock")
        print(f"and {by_processor:.2f} times by processor seconds, were there a free core for each job")


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
    parser.add_argument("--jobs", type=int, nargs="+", default=[1, 2])
    given = parser.parse_args()
    if given.what == "kills":
        kills(given.photos, given.out, given.kills)
    else:
        many_walls(given.photos, given.out, given.copies, given.pieces, given.jobs)


if __name__ == "__main__":
    main()

"""Thousands of bad inputs: each must end in a reading or a refusal of one line.

    python benchmarks/abuse.py                       5,000 cases, the seeds of the table
    python benchmarks/abuse.py --only "names:17"     one case again, its files kept
    python benchmarks/abuse.py --fuzz 60             atheris on the sheet, marks and photo readers

A case fails if it ends in a traceback, a warning or a refusal of several
lines, takes more than 10 s of processor time or five minutes on the clock, needs more than 2 GB,
writes outside the output folder, or lets text of a sheet act in HTML or CSV. Cases run
in a process of their own, which is started afresh when one of them hangs it.
"""

import argparse
import contextlib
import csv
import io
import json
import multiprocessing
import os
import resource
import shutil
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html.parser import HTMLParser
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import numpy as np
from bad_input import KINDS, Case, write_case

from rootread.errors import RootreadError

COUNTS = {
    "photo": 3000,
    "sheet": 700,
    "marks": 800,
    "settings": 300,
    "names": 150,
    "places": 250,
    "results": 150,
    "sheet run": 120,
    "photo run": 60,
    "marks run": 60,
    "settings run": 60,
    "net run": 60,
}
"""Cases by kind: readers take milliseconds, runs of the whole command a second."""
CPU_LIMIT_S = 10.0
CLOCK_LIMIT_S = 300.0
"""On a machine that does other work too."""
MEMORY_LIMIT_MB = 2048.0
MEMORY_WALL_MB = 6000
"""Address space after which the system refuses more, so that a runaway case spares the machine."""
LONGEST_REASON = 600
INERT = ("#", "data:image/", "pictures/")
"""What addresses in a page may begin with: a place in it, a picture in it, a file beside it."""
FORMULA_STARTS = tuple("=+-@\t\r\n＝＋－＠")


@dataclass(frozen=True)
class Outcome:
    """How one case ended."""

    ended: str
    """read, refused, partly (some walls refused) or failed."""
    fault: str = ""
    said: str = ""
    cpu_s: float = 0.0
    peak_mb: float = 0.0


def run_case(kind: str, number: int, seed: int, box: Path) -> Outcome:
    """Lay out one case in ``box``, run it in this process and judge how it ended."""
    box.mkdir(parents=True)
    case = write_case(kind, np.random.default_rng([seed, list(KINDS).index(kind), number]), box)
    started = time.process_time()
    with warnings.catch_warnings(record=True) as warned, written_files() as written:
        warnings.simplefilter("always")
        try:
            ended, said = call_reader(case) if case.reader else call_command(case, box)
            fault = ""
        except Exception:
            ended, said, fault = "failed", traceback.format_exc(), "traceback"
    cpu_s = time.process_time() - started
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    fault = fault or _fault_of_words(ended, said, case)
    if not fault and warned:
        fault, said = "warning", str(warned[0])
    stray = [path for path in written if not _may_write(path, box, case)]
    if not fault and stray:
        fault, said = "wrote outside", ", ".join(stray[:3])
    if not fault and (box / "out").is_dir():
        fault, said = _fault_of_results(box / "out", "contrast" if "contrast" in case.arguments else "*")
    if not fault and cpu_s > CPU_LIMIT_S:
        fault = "slow"
    if not fault and peak_mb > MEMORY_LIMIT_MB:
        fault = "memory"
    return Outcome("failed" if fault else ended, fault, said[-3000:], cpu_s, peak_mb)


def call_reader(case: Case) -> tuple[str, str]:
    """One reader on one file."""
    from rootread.fieldsheet import match_photos, read_sheet
    from rootread.marks import read_marks
    from rootread.photo import read_photo
    from rootread.settings import PhotoSettings, read_settings

    try:
        if case.reader == "photo":
            photo = read_photo(case.file, PhotoSettings(min_megapixels=0.0))
            assert photo.rgb.ndim == 3 and photo.rgb.shape[2] == 3 and photo.rgb.dtype == np.uint8
        elif case.reader == "sheet":
            match_photos(read_sheet(case.file), [Path(f"p{number}.jpg") for number in range(60)])
        elif case.reader == "marks":
            read_marks(case.file)
        else:
            read_settings(case.file)
    except RootreadError as error:
        return "refused", str(error)
    return "read", ""


def call_command(case: Case, box: Path) -> tuple[str, str]:
    """The command line in this process; what it says on both outputs."""
    from rootread.cli import main

    before, place = sys.argv, Path.cwd()
    said, errors = _text_stream(), _text_stream()
    os.chdir(box)
    sys.argv = ["rootread", *case.arguments]
    code: Any = 0
    try:
        with contextlib.redirect_stdout(said), contextlib.redirect_stderr(errors):
            main()
    except SystemExit as exit_:
        code = exit_.code or 0
    finally:
        sys.argv = before
        os.chdir(place)
    words = _words(errors)
    if code == 2:
        return "refused", words.strip().splitlines()[-1] if words.startswith("Usage") else words.strip()
    if code not in (0, 1):
        return "failed", f"exit code {code}: {words}"
    if "Traceback" in words:
        return "failed", words
    return ("read", "partly")[code], ""


def _text_stream() -> io.TextIOWrapper:
    # Strict as a terminal's: text that cannot be encoded must not reach it.
    return io.TextIOWrapper(io.BytesIO(), encoding="utf-8", errors="strict", write_through=True)


def _words(stream: io.TextIOWrapper) -> str:
    return stream.buffer.getvalue().decode()  # type: ignore[attr-defined]


def _fault_of_words(ended: str, said: str, case: Case) -> str:
    if ended == "failed":
        return "traceback"
    if ended == "refused":
        # Notes about rows and photos that do not fit may stand before the refusal.
        lines = said.splitlines() or [""]
        if case.reader and len(lines) != 1:
            return "several lines"
        if len(lines[-1]) > LONGEST_REASON or not lines[-1].strip():
            return "too long or empty"
    if ended == "read" and case.must_refuse:
        return "read what it must refuse"
    return ""


_opened: list[str] | None = None


def _listen(event: str, arguments: Sequence[Any]) -> None:
    if _opened is None:
        return
    if event == "open":
        path, mode, flags = arguments
        writes = (flags or 0) & (os.O_WRONLY | os.O_RDWR | os.O_CREAT) or (mode and set(mode) & set("wax+"))
        if writes and isinstance(path, str | bytes):
            _opened.append(os.fsdecode(path))
    elif event in ("os.mkdir", "os.remove", "os.rmdir", "os.symlink", "os.link", "os.rename", "os.chmod"):
        _opened.extend(os.fsdecode(path) for path in arguments[:2] if isinstance(path, str | bytes))


@contextlib.contextmanager
def written_files() -> Iterator[list[str]]:
    """The places that Python code opens for writing, makes, moves or removes meanwhile."""
    global _opened
    if not _listen_once:
        sys.addaudithook(_listen)
        _listen_once.append(True)
    _opened = found = []
    try:
        yield found
    finally:
        _opened = None


_listen_once: list[bool] = []


def _may_write(path: str, box: Path, case: Case) -> bool:
    place = os.path.abspath(os.path.join(box, path))  # noqa: PTH100, PTH118 - links are to stay
    allowed = [str(box / "out"), os.devnull, "/dev/tty"]
    if case.arguments[:1] == ("contrast",):
        allowed.append(case.arguments[1])
    # Compiled modules are cached where they lie, once.
    return any(place == a or place.startswith(a + os.sep) for a in allowed) or "__pycache__" in place


class _Acting(HTMLParser):
    """Whatever in a page could act: scripts, handlers, addresses that load or run something."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("script", "iframe", "object", "embed", "link", "base", "form"):
            self.found.append(tag)
        for name, value in attrs:
            address = name in ("href", "src", "xlink:href", "action")
            if name.startswith("on") or (address and not (value or "").startswith(INERT)):
                self.found.append(f"{tag} {name}={value!r}"[:80])


def _fault_of_results(out: Path, written: str) -> tuple[str, str]:
    for page in out.glob(f"{written}.html"):
        acting = _Acting()
        acting.feed(page.read_text(encoding="utf-8"))
        if acting.found:
            return "acts in HTML", acting.found[0]
    for table in (file for file in out.glob(f"{written}.csv") if file.is_file()):
        with table.open(encoding="utf-8", newline="") as file:
            for cell in (cell for row in csv.reader(file) for cell in row):
                if "The program failed" in cell:
                    return "traceback", cell
                if cell.startswith(FORMULA_STARTS) and not _is_number(cell):
                    return "acts in CSV", f"{table.name}: {cell[:60]!r}"
    return "", ""


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return cell.isascii() and cell.strip() == cell


# Running ---------------------------------------------------------------------------------------------------


def _worker(orders: Connection, home: Path, seed: int) -> None:
    """Run the cases that come, and send back how each ended."""
    limit = MEMORY_WALL_MB * 2**20
    resource.setrlimit(resource.RLIMIT_DATA, (limit, limit))
    sys.stderr = open(os.devnull, "w")  # noqa: PTH123, SIM115 - image libraries also write there
    os.dup2(sys.stderr.fileno(), 2)
    while True:
        kind, number = orders.recv()
        box = home / f"{kind.replace(' ', '-')}-{number}"
        try:
            outcome = run_case(kind, number, seed, box)
        except MemoryError:
            outcome = Outcome("failed", "memory", "no more memory to be had", peak_mb=float(MEMORY_WALL_MB))
        _remove(box)
        orders.send(outcome)


def _remove(box: Path) -> None:
    shutil.rmtree(box, ignore_errors=True)


class Worker:
    """A process that runs cases; a case that hangs takes only it away."""

    def __init__(self, home: Path, seed: int) -> None:
        self.home, self.seed = home, seed
        self._start()

    def _start(self) -> None:
        fresh = multiprocessing.get_context("spawn")
        self.orders, theirs = fresh.Pipe()
        self.process = fresh.Process(target=_worker, args=(theirs, self.home, self.seed), daemon=True)
        self.process.start()
        theirs.close()

    def run(self, kind: str, number: int) -> Outcome:
        """One case; a fresh process takes over where it died, hung or grew too large."""
        self.orders.send((kind, number))
        outcome = Outcome("failed", "hang", f"no end after {CLOCK_LIMIT_S:g} s")
        try:
            if self.orders.poll(CLOCK_LIMIT_S):
                outcome = self.orders.recv()
        except (EOFError, ConnectionError):
            outcome = Outcome("failed", "died", f"the process ended with {self.process.exitcode}")
        # The peak of memory is that of the process so far: the next case shall not answer for this one's.
        if outcome.fault in ("hang", "died") or outcome.peak_mb > MEMORY_LIMIT_MB:
            self.stop()
            self._start()
        return outcome

    def stop(self) -> None:
        """End the process."""
        self.process.kill()
        self.process.join()


def run_all(counts: dict[str, int], seed: int) -> dict[tuple[str, int], Outcome]:
    """Every case, by kind and number."""
    outcomes = {}
    with tempfile.TemporaryDirectory(prefix="bad-input-") as home:
        worker = Worker(Path(home), seed)
        for kind, count in counts.items():
            started = time.monotonic()
            for number in range(count):
                outcome = outcomes[kind, number] = worker.run(kind, number)
                if outcome.fault:
                    last = outcome.said.strip().splitlines()[-1:] or [""]
                    print(f"  {kind}:{number}  {outcome.fault}: {last[0][:200]}", flush=True)
            print(f"{kind}: {count} cases in {time.monotonic() - started:.0f} s", file=sys.stderr, flush=True)
        worker.stop()
    return outcomes


def table(outcomes: dict[tuple[str, int], Outcome]) -> str:
    """A row a kind of input, as Markdown."""
    lines = [
        "| input | cases | read | partly refused | refused | failed | longest s | largest MB |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for kind in dict.fromkeys(kind for kind, _ in outcomes):
        of_kind = [outcome for (other, _), outcome in outcomes.items() if other == kind]
        ended = Counter(outcome.ended for outcome in of_kind)
        longest_s, largest_mb = max(o.cpu_s for o in of_kind), max(o.peak_mb for o in of_kind)
        lines.append(
            f"| {kind} | {len(of_kind)} | {ended['read']} | {ended['partly']} | {ended['refused']} | "
            f"{ended['failed']} | {longest_s:.1f} | {largest_mb:.0f} |"
        )
    return "\n".join(lines)


# Guided by coverage -------------------------------------------------------------------------------------


def fuzz(seconds: int) -> None:
    """Atheris on the three readers, each in a process of its own; it stops at the first fault."""
    import subprocess

    for reader in ("sheet", "marks", "photo"):
        with tempfile.TemporaryDirectory() as corpus:
            for number in range(40):
                box = Path(corpus) / f"{number}-box"
                box.mkdir()
                case = write_case(reader, np.random.default_rng(number), box)
                shutil.copy(case.file, Path(corpus) / f"{number}")
                shutil.rmtree(box)
            code = f"from abuse import fuzz_one; fuzz_one({reader!r}, {corpus!r}, {seconds})"
            here = str(Path(__file__).parent)
            done = subprocess.run(
                [sys.executable, "-c", code],
                env={**os.environ, "PYTHONPATH": here},
                capture_output=True,
                text=True,
                check=False,
            )
            lines = [line for line in done.stderr.splitlines() if "Done" in line or "Error" in line]
            print(f"{reader}: {'no fault' if done.returncode == 0 else 'FAULT'}  {' | '.join(lines[-3:])}")
            if done.returncode:
                print(done.stderr[-3000:])


def fuzz_one(reader: str, corpus: str, seconds: int) -> None:
    """One reader under atheris, for ``seconds``."""
    import atheris

    with atheris.instrument_imports(include=["rootread", "csv", "json"]):
        import rootread.fieldsheet
        import rootread.marks
        import rootread.photo  # noqa: F401 - instrumented here, called by name later

    file = (
        Path(tempfile.mkdtemp()) / {"sheet": "sheet.csv", "marks": "wall.json", "photo": "wall.jpg"}[reader]
    )

    def once(data: bytes) -> None:
        file.write_bytes(data)
        ended, said = call_reader(Case(reader=reader, file=file))
        assert ended == "read" or len(said.splitlines()) == 1, said

    arguments = [sys.argv[0], f"-max_total_time={seconds}", "-rss_limit_mb=2048", "-timeout=10", corpus]
    atheris.Setup(arguments, once)
    atheris.Fuzz()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--share", type=float, default=1.0, help="of the usual number of cases")
    parser.add_argument("--kinds", nargs="*", default=list(COUNTS))
    parser.add_argument("--only", help="KIND:NUMBER, run here, its files kept and its traceback shown")
    parser.add_argument("--fuzz", type=int, help="seconds of atheris for each reader")
    parser.add_argument("--json", type=Path, help="write every outcome here")
    chosen = parser.parse_args()
    if chosen.fuzz:
        return fuzz(chosen.fuzz)
    if chosen.only:
        kind, number = chosen.only.split(":")
        box = Path(tempfile.mkdtemp(prefix="bad-input-")) / "case"
        print(box, run_case(kind, int(number), chosen.seed, box), sep="\n")
        return None
    counts = {kind: max(round(COUNTS[kind] * chosen.share), 1) for kind in chosen.kinds}
    outcomes = run_all(counts, chosen.seed)
    print(table(outcomes))
    if chosen.json:
        found = [{"kind": k, "number": n, **vars(outcome)} for (k, n), outcome in outcomes.items()]
        chosen.json.write_text(json.dumps(found, indent=1), encoding="utf-8")
    sys.exit(any(outcome.fault for outcome in outcomes.values()))


if __name__ == "__main__":
    main()

"""Bad input ends in a reading or in a refusal of one line; ``benchmarks/abuse.py`` runs thousands."""

from pathlib import Path

import numpy as np
import pytest
from abuse import run_case
from bad_input import KINDS, write_case

SEED = 11
READERS = {"photo": 180, "sheet": 60, "marks": 60, "settings": 40}
RUNS = {
    "names": 6,
    "places": 24,
    "results": 6,
    "sheet run": 4,
    "photo run": 1,
    "marks run": 1,
    "settings run": 1,
    "net run": 1,
}


@pytest.mark.parametrize("kind", READERS)
def test_a_reader_takes_what_is_damaged_or_refuses_it_in_one_line(kind: str, tmp_path: Path) -> None:
    for number in range(READERS[kind]):
        outcome = run_case(kind, number, SEED, tmp_path / str(number))
        assert not outcome.fault, f"{kind}:{number} {outcome.fault}: {outcome.said}"


@pytest.mark.parametrize("kind", RUNS)
def test_a_run_on_bad_input_ends_with_its_exit_code_and_writes_nothing_elsewhere(
    kind: str, tmp_path: Path
) -> None:
    for number in range(RUNS[kind]):
        outcome = run_case(kind, number, SEED, tmp_path / str(number))
        assert not outcome.fault, f"{kind}:{number} {outcome.fault}: {outcome.said}"


def test_the_same_seed_writes_the_same_case_whatever_was_written_before(tmp_path: Path) -> None:
    def marks_of(number: int, box: str) -> bytes:
        (tmp_path / box).mkdir()
        return write_case("marks", np.random.default_rng(number), tmp_path / box).file.read_bytes()

    before = [marks_of(number, f"before-{number}") for number in range(60)]
    assert before == [marks_of(number, f"after-{number}") for number in range(60)]


def test_every_kind_of_bad_input_is_tried() -> None:
    assert {*READERS, *RUNS} == set(KINDS)


def test_the_watch_sees_a_file_written_elsewhere(tmp_path: Path) -> None:
    """The check above can fail."""
    from abuse import _may_write, written_files
    from bad_input import Case

    with written_files() as written:
        (tmp_path / "elsewhere.txt").write_text("x", encoding="utf-8")
        (tmp_path / "out").mkdir()
    allowed = [_may_write(path, tmp_path, Case()) for path in written]
    assert allowed == [False, True], written

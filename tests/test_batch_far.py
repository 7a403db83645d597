"""Runs that outgrow one machine or are cut short: the results are those of a quiet run on one."""

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from run_files import files_of, gravel, made_wall

from rootread.batch import grade_walls, plan_walls, pool, program, read
from rootread.errors import BadRequest
from rootread.settings import Settings
from rootread.store import place, remove_parts, writing

WALLS = 4
KILLS = 3
FIRST_WRITE_S = 120
"""How long a run may take on a busy machine before it writes its first file."""


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two made walls and two photos without scale, in two folders."""
    place = tmp_path_factory.mktemp("photos")
    for pit, seed in (("pit 1", 41), ("pit 2", 43)):
        made_wall(place / pit, "wall", seed)
        gravel(place / pit, "gravel")
    return place


@pytest.fixture(scope="module")
def undisturbed(photos: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A run in one process that nothing disturbs."""
    out = tmp_path_factory.mktemp("quiet") / "out"
    assert grade_walls(plan_walls([photos]), out).refused == 2
    return out


@pytest.fixture(scope="module")
def quiet(undisturbed: Path) -> dict[str, bytes]:
    """Its files."""
    return files_of(undisturbed)


def test_a_cluster_that_loses_a_worker_midway_writes_what_one_process_writes(photos, quiet, tmp_path):
    distributed = pytest.importorskip("distributed")
    lost = []
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=":0", silence_logs=50
    ) as cluster:
        workers = [nanny.pid for nanny in cluster.workers.values()]

        def kill_one(done: int, total: int, record: object) -> None:
            if not lost:
                lost.append(workers[0])
                os.kill(workers[0], signal.SIGKILL)

        run = grade_walls(
            plan_walls([photos]), tmp_path / "out", progress=kill_one, cluster=cluster.scheduler_address
        )
    assert lost and len(run.records) == WALLS
    assert files_of(tmp_path / "out") == quiet


def test_a_cluster_that_is_not_there_is_a_wrong_request(photos, tmp_path, monkeypatch):
    pytest.importorskip("distributed")
    monkeypatch.setattr("rootread.batch.cluster.REACH_S", 0.5)
    with pytest.raises(BadRequest, match=r"No cluster answers at tcp://127\.0\.0\.1:9"):
        grade_walls(plan_walls([photos]), tmp_path, cluster="tcp://127.0.0.1:9")


def test_a_worker_with_another_program_or_without_the_photos_does_not_read(photos, tmp_path):
    (job, *_) = plan_walls([photos]).jobs
    with pytest.raises(BadRequest, match="another version"):
        read.read_elsewhere(job, tmp_path, Settings(), "another")
    away = type(job)(tmp_path / "not here.jpg", job.row, None)
    with pytest.raises(BadRequest, match="does not see"):
        read.read_elsewhere(away, tmp_path, Settings(), program.program())


def test_photos_and_results_may_lie_at_an_address(photos, quiet, tmp_path):
    upath = pytest.importorskip("upath")
    bucket = upath.UPath("memory://field")
    for file in (photos / "pit 1").iterdir():
        (bucket / "pit 1" / file.name).write_bytes(file.read_bytes())
    (bucket / "pit 1" / "sheet.csv").write_bytes(b"photo,wall\nwall,north\n")
    seen = []
    for _ in range(2):
        plan = plan_walls(["memory://field"], "memory://field/out")
        run = grade_walls(plan, "memory://field/out", progress=lambda *told: seen.append(told[2].kept))
    assert [record.wall["wall"] for record in run.records] == ["pit 1-gravel", "north"]
    assert seen == [False, False, True, True]
    written = {file.path.removeprefix("/field/out/"): file for file in (bucket / "out").rglob("*.json")}
    here, there = quiet["traces/pit 1-wall.json"], written["traces/north.json"].read_bytes()
    assert here.replace(b"pit 1-wall", b"north") == there
    assert (bucket / "out" / "report.html").exists() and (bucket / "out" / "pictures" / "north.jpg").exists()


def test_an_address_of_this_machine_is_a_folder_of_it(photos):
    assert plan_walls([photos.as_uri()]) == plan_walls([photos])


def test_an_address_of_an_unknown_kind_is_a_wrong_request():
    with pytest.raises(BadRequest, match=r"nowhere://x cannot be (used|reached)"):
        plan_walls(["nowhere://x"])


def test_an_address_whose_kind_needs_more_says_what_to_install(monkeypatch):
    fsspec = pytest.importorskip("fsspec")
    pytest.importorskip("upath")

    def lacking(_: str) -> None:
        raise ImportError("Install s3fs to access S3")

    monkeypatch.setattr(fsspec, "get_filesystem_class", lacking)
    for asked in (lambda: plan_walls(["s3://x/y"]), lambda: place("s3://x/y")):
        with pytest.raises(BadRequest, match="Install s3fs") as refused:
            asked()
        assert "pip install 'rootread[cloud]'" in refused.value.remedy


def test_runs_killed_at_any_moment_end_in_the_same_files(photos, quiet, tmp_path):
    """``kill -9`` some way into a run, again and again, then once to the end."""
    out = tmp_path / "out"
    code = "import sys; from rootread.batch import *; grade_walls(plan_walls([sys.argv[1]]), sys.argv[2])"
    draw = np.random.default_rng(5)

    def run(until_s: float | None) -> None:
        before = len(list(out.rglob("*")))
        begun = subprocess.Popen([sys.executable, "-c", code, str(photos), str(out)])
        if until_s is None:
            assert begun.wait() == 0
            return
        waited_from = time.monotonic()
        while len(list(out.rglob("*"))) <= before and begun.poll() is None:
            assert time.monotonic() - waited_from < FIRST_WRITE_S
            time.sleep(0.02)
        time.sleep(until_s)
        begun.kill()
        begun.wait()

    for _ in range(KILLS):
        run(until_s=float(draw.uniform(0, 2)))
    run(until_s=None)
    assert files_of(out) == quiet


def test_parts_of_killed_runs_are_taken_away_and_those_being_written_stay(tmp_path):
    old, new = tmp_path / "pictures" / ".a-x.part", tmp_path / ".b-y.part"
    old.parent.mkdir()
    for part in (old, new):
        part.write_bytes(b"half")
    began = time.time()
    os.utime(old, (began - 9, began - 9))
    os.utime(new, (began + 9, began + 9))
    remove_parts(tmp_path, before=began)
    assert not old.exists() and new.exists()


def test_a_file_that_was_not_written_to_its_end_is_not_there(tmp_path):
    with pytest.raises(RuntimeError), writing(tmp_path / "a.csv") as file:
        file.write(b"half")
        raise RuntimeError
    assert list(tmp_path.iterdir()) == []


def _end_or_read(job):
    """Ends its process over one wall, as a want of memory would."""
    if job == "bad":
        os._exit(9)
    return f"{job} read"


def test_a_photo_that_ends_its_process_is_given_up_and_the_others_are_read():
    jobs = ["a", "bad", "b"]
    done = dict(pool.read_here(_end_or_read, jobs, 2, lambda job: f"{job} given up"))
    assert done == {0: "a read", 1: "bad given up", 2: "b read"}


def test_a_fault_of_the_program_stops_one_wall_only_and_is_tried_again(photos, tmp_path, monkeypatch):
    def fail(*_: object) -> None:
        raise ZeroDivisionError("in some stage")

    monkeypatch.setattr(read, "read_or_refuse", fail)
    plan = plan_walls([photos])
    run = grade_walls(plan, tmp_path)
    assert run.refused == WALLS
    assert "program failed on this photo (ZeroDivisionError: in some stage)" in run.records[0].wall["reason"]
    assert not any(record.kept for record in grade_walls(plan, tmp_path).records)


def test_a_changed_line_of_code_makes_walls_be_read_again(photos, monkeypatch):
    (job, *_) = plan_walls([photos]).jobs
    before = job.key(Settings())
    monkeypatch.setattr("rootread.batch.plan.program", lambda: "other code")
    assert job.key(Settings()) != before


def test_a_picture_that_was_deleted_is_made_again(photos, undisturbed, quiet, tmp_path):
    shutil.copytree(undisturbed, tmp_path / "out")
    (tmp_path / "out" / "pictures" / "pit 2-wall.jpg").unlink()
    kept = [record.kept for record in grade_walls(plan_walls([photos]), tmp_path / "out").records]
    assert kept == [True, True, True, False] and files_of(tmp_path / "out") == quiet

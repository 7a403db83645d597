"""The command line: exit codes, plain errors, and the same functions underneath."""

import json
import os
import re
import shlex
import subprocess
import sys
import tempfile
from importlib.metadata import version
from pathlib import Path
from types import SimpleNamespace

import cv2
import numpy as np
import pandas as pd
import pytest
import skimage.data
import typer
from typer.testing import CliRunner

from rootread.batch import Record, plan_walls
from rootread.cli import app
from rootread.console import progress
from rootread.errors import BadRequest, RootreadError
from rootread.fieldsheet import read_sheet
from rootread.photo import read_photo
from rootread.schema import TABLES
from rootread.settings import ReportSettings, Settings, read_settings
from rootread.store.files import write_bytes
from rootread.tasks import settings_of, with_exports

REPOSITORY = Path(__file__).parent.parent
COMMANDS = typer.main.get_command(app).commands  # type: ignore[attr-defined]


def rootread(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-c", "from rootread.cli import main; main()", *map(str, arguments)]
    # Help is laid out for the terminal's width, which is not that of whoever runs the tests.
    wide = {**os.environ, "COLUMNS": "100"}
    return subprocess.run(command, capture_output=True, text=True, check=False, env=wide)


def test_help_names_every_command() -> None:
    said = rootread("--help")
    assert said.returncode == 0
    for command in COMMANDS:
        assert command in said.stdout


def test_help_does_not_load_the_image_libraries() -> None:
    code = "import sys, rootread.cli; print([m for m in ('cv2', 'scipy', 'matplotlib') if m in sys.modules])"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "[]"


def test_grading_does_not_load_libraries_that_only_drawing_and_comparing_need() -> None:
    """They take long, and one makes a folder in the user's home."""
    code = "import sys, rootread.batch; print([m for m in ('matplotlib', 'pandas') if m in sys.modules])"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "[]"


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_shows_an_example_that_its_options_allow(name: str) -> None:
    example = re.search(r"^Example: rootread (.+)$", COMMANDS[name].help or "", re.M)
    assert example
    command, *arguments = shlex.split(example[1].partition(" > ")[0])
    assert command == name
    COMMANDS[name].make_context(name, arguments)
    for argument in arguments:
        assert not argument.startswith("sample_images") or (REPOSITORY / argument).exists()


@pytest.mark.parametrize("name", COMMANDS)
def test_the_help_fits_a_terminal_of_80_letters(name: str) -> None:
    # Typer keeps line breaks, so a longer line would be broken twice.
    _, *after = (COMMANDS[name].help or "").split("\n\n")
    assert max(len(line) for part in after for line in part.splitlines()) <= 78


def test_a_refused_wall_gives_exit_code_1_and_the_reason(tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "grass.png"), cv2.resize(skimage.data.grass(), (900, 900)))
    said = rootread("grade", tmp_path, "--out", tmp_path / "out")
    assert said.returncode == 1
    assert "scale" in said.stdout + said.stderr
    assert (tmp_path / "out" / "report.html").exists()


def test_a_wrong_request_gives_exit_code_2_and_one_line(tmp_path: Path) -> None:
    said = rootread("grade", tmp_path / "nowhere", "--out", tmp_path / "out")
    assert said.returncode == 2
    assert said.stderr.startswith("rootread: ") and len(said.stderr.splitlines()) == 1


@pytest.mark.parametrize("command", ["check", "grade", "mask", "lens"])
def test_a_file_that_is_not_there_is_a_wrong_request_of_every_command(command: str, tmp_path: Path) -> None:
    out = [] if command == "check" else ["--out", tmp_path / ("out.png" if command == "mask" else "out")]
    said = rootread(command, tmp_path / "nowhere.jpg", *out)
    assert said.returncode == 2 and said.stderr.startswith("rootread: There is no ")


def test_the_mask_of_a_folder_is_a_wrong_request_and_that_of_a_damaged_photo_is_refused(
    tmp_path: Path,
) -> None:
    (tmp_path / "broken.jpg").write_bytes(b"\xff\xd8\xff")
    codes = [
        rootread("mask", photo, "--out", tmp_path / "out.png").returncode
        for photo in (tmp_path, tmp_path / "broken.jpg")
    ]
    assert codes == [2, 1]


def test_the_settings_command_says_what_its_file_is_for() -> None:
    assert "in place of the defaults" in " ".join(rootread("settings", "--help").stdout.split())


def test_each_fault_of_a_sheet_is_a_line(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").touch()
    (tmp_path / "sheet.csv").write_text("photo,treatmnt,tool_depth\na.jpg,deep,14\n")
    said = rootread("check", tmp_path)
    first, second = said.stderr.splitlines()
    assert said.returncode == 2
    assert first.startswith("rootread: sheet.csv: column 2, 'treatmnt'")
    assert second.startswith("rootread: sheet.csv: column 3, 'tool_depth'")


def test_printed_settings_are_the_defaults_and_read_back(tmp_path: Path) -> None:
    file = tmp_path / "settings.toml"
    file.write_text(rootread("settings").stdout, encoding="utf-8")
    assert read_settings(file) == Settings()


def test_an_unknown_setting_is_a_wrong_request(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text("[measure]\nstep = 3\n", encoding="utf-8")
    said = rootread("settings", "--settings", tmp_path / "s.toml")
    assert said.returncode == 2 and "step is not a setting" in said.stderr


def test_a_made_wall_comes_with_its_truth(tmp_path: Path) -> None:
    said = rootread("scene", "--out", tmp_path, "--seed", "12", "--kind", "open", "--width", "1000")
    assert said.returncode == 0
    photo = Path(said.stdout.strip())
    truth = json.loads(photo.with_suffix(".json").read_text(encoding="utf-8"))
    mask = cv2.imread(str(photo.with_suffix(".png")), cv2.IMREAD_GRAYSCALE)
    assert mask is not None and mask.shape == cv2.imread(str(photo)).shape[:2]
    assert truth["kind"] == "open" and np.shape(truth["plane_to_photo"]) == (3, 3)


def test_made_walls_are_read_as_they_say(tmp_path: Path) -> None:
    said = rootread("scene", "--out", tmp_path / "Ann's walls", "--seed", "12", "--width", "600")
    told = said.stderr.strip().removeprefix("To read them: ")
    assert "/*.jpg" in told  # outside the quotes, or no shell would put the photos there
    name, verb, pattern, option, out = shlex.split(told)
    photos = sorted(Path(pattern).parent.glob(Path(pattern).name))
    plan = plan_walls(photos, out)
    assert (name, verb, option) == ("rootread", "grade", "--out")
    assert out == f"{tmp_path}/Ann's walls-graded"
    assert [job.photo for job in plan.jobs] == [Path(said.stdout.strip())]


def test_a_unit_that_is_not_known_is_a_wrong_request(tmp_path: Path) -> None:
    said = rootread("grade", tmp_path, "--out", tmp_path / "out", "--units", "ell")
    assert said.returncode == 2
    assert said.stderr.strip() == "rootread: --units ell is not known. Choose in or cm."


@pytest.mark.parametrize(
    ("command", "out", "says"),
    [
        ("mask nowhere.jpg", "roots.txt", "--out roots.txt does not end in .png. Write --out roots.png"),
        ("card", "card", "--out card does not end in .pdf. Write --out card.pdf"),
        ("card", "folder", "--out folder is a folder. Name a file in it, such as folder/new.pdf"),
        ("card", "file/card.pdf", "--out file/card.pdf: file is a file, not a folder. Choose another --out."),
        *(
            (command, "file", "--out file: file is a file, not a folder. Choose another --out.")
            for command in ("grade nowhere", "contrast nowhere", "tables nowhere", "demo", "desk", "scene")
        ),
        ("lens nowhere", "a.jpg", "--out a.jpg is named like a file. Name a folder to write into."),
        *(
            (
                command,
                "s3://pits/new",
                "--out s3://pits/new is an address. "
                "This command writes to this machine's own disk: choose a place there.",
            )
            for command in ("demo", "desk", "scene", "lens nowhere", "card", "mask nowhere.jpg")
        ),
        ("scene", "a.png", "--out a.png is named like a file. Name a folder to write into."),
    ],
)
def test_a_place_that_cannot_be_written_is_refused_before_anything_is_read(
    command: str, out: str, says: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("folder").mkdir()
    Path("file").touch()
    with pytest.raises(BadRequest) as refused:
        app([*command.split(), "--out", out])
    assert str(refused.value) == says
    assert sorted(place.name for place in tmp_path.iterdir()) == ["file", "folder"]


def kept_shut(*_: object, **__: object) -> None:
    raise PermissionError(13, "Permission denied", "what/nobody/named")


def test_what_may_not_be_written_is_told_by_the_name_that_was_asked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "mkstemp", kept_shut)
    with pytest.raises(PermissionError) as refused:
        write_bytes(tmp_path / "roots.png", b"")
    assert refused.value.filename == str(tmp_path / "roots.png")
    with pytest.raises(BadRequest) as no_place:
        app(["grade", str(REPOSITORY / "sample_images" / "pit1-deep.jpg"), "--out", str(tmp_path / "out")])
    assert no_place.value.cause == f"{tmp_path / 'out'} cannot be written (Permission denied)."


@pytest.mark.parametrize("file", ["sheet.csv", "wall.jpg"])
def test_a_file_that_another_program_keeps_shut_is_told_so(
    file: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / file).touch()
    monkeypatch.setattr(Path, "read_bytes", kept_shut)
    read = read_sheet if file == "sheet.csv" else read_photo
    with pytest.raises(RootreadError, match=r"Permission denied.*Close it in other programs"):
        read(tmp_path / file)


def test_the_desk_says_which_folder_it_made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("rootread.desk.Desk", lambda *_: None)
    monkeypatch.setattr("rootread.desk.server.serve", lambda *_: None)
    monkeypatch.setattr("rootread.cli.end_at_once", lambda: None)
    said = CliRunner().invoke(app, ["desk", str(tmp_path / "pti1")]).stderr
    assert said == f"There was no folder {tmp_path / 'pti1'}; a new one is open: {tmp_path / 'pti1'}\n"
    assert not CliRunner().invoke(app, ["desk", str(tmp_path)]).stderr


def test_a_file_may_have_its_ending_in_capitals_and_a_folder_a_dot(tmp_path: Path) -> None:
    for command, out in (("card", "CARD.PDF"), ("scene", "season2.1"), ("grade x", "s3://pits/2026.csv")):
        name, *arguments = command.split()
        COMMANDS[name].make_context(name, [*arguments, "--out", out])


def test_options_leave_the_other_settings_of_the_file_as_they_are(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text("[report]\nexport_svg = true\n", encoding="utf-8")
    report = with_exports(settings_of(file, "cm"), "rsml").report
    assert report == ReportSettings(units="cm", export_svg=True, export_rsml=True)


def test_a_season_is_written_in_the_unit_asked_for(tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "grass.png"), cv2.resize(skimage.data.grass(), (900, 900)))
    rootread("grade", tmp_path, "--out", tmp_path / "out")
    said = rootread("tables", tmp_path / "out", "--out", tmp_path / "season", "--units", "cm")
    assert said.returncode == 0 and len(said.stdout.splitlines()) == len(TABLES)
    head, row = (tmp_path / "season" / "walls.csv").read_text(encoding="utf-8").splitlines()
    assert head.startswith("folder,wall,") and "root_length_cm" in head and "_in," not in head
    assert row.startswith(f"{tmp_path / 'out'},grass,")


def test_a_comparison_is_told_in_the_unit_asked_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = [
        {"wall": f"{pit}{way}", "pit": pit, "treatment": way, "status": "read"}
        | {"grade": 60.0, "grade_low": 55.0, "grade_high": 65.0, "descent_deg": 33.0}
        for pit in "ab"
        for way in ("deep", "shallow")
    ]
    roots = [
        {"wall": row["wall"], "descent_deg": 30.0 + k, "width_in": 0.1} for row in rows for k in range(6)
    ]
    for name, table in (("walls", rows), ("roots", roots)):
        columns = [column.name for column in TABLES[name]]
        pd.DataFrame(table).reindex(columns=columns).to_csv(tmp_path / f"{name}.csv", index=False)
    app(["contrast", str(tmp_path), "--measure", "descent", "--units", "cm"], standalone_mode=False)
    said = " ".join(capsys.readouterr().out.split())
    assert "that are 0.13 cm wide or more" in said and "0.05 in" not in said
    replaced = "It replaces the page of an earlier contrast there"
    app(["contrast", str(tmp_path), "--measure", "descent", "--units", "cm"], standalone_mode=False)
    assert replaced not in said and replaced not in capsys.readouterr().out  # the same page once more
    app(["contrast", str(tmp_path), "--measure", "grade"], standalone_mode=False)
    assert replaced in capsys.readouterr().out


def test_time_left_is_told_from_what_was_read_now_not_from_what_was_kept(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = iter([0.0, 30.0])
    # Of the console alone: threads that earlier tests left may ask the clock too.
    monkeypatch.setattr("rootread.console.time", SimpleNamespace(monotonic=lambda: next(clock)))
    row = {"wall": "north", "status": "read", "verdict": "open"}
    say = progress()
    say(1, 4, Record(row, (), (), kept=True))
    say(2, 4, Record(row, (), (), kept=False))
    assert capsys.readouterr().err.splitlines() == [
        "[1/4] north: as before",
        "[2/4] north: open, about 60 s left",  # one was read, in 30 s; two are left
    ]


@pytest.mark.parametrize("command", ["grade", "desk"])
def test_results_do_not_go_among_the_photos(tmp_path: Path, command: str) -> None:
    """Their pictures would be walls of the next run."""
    (tmp_path / "wall.jpg").write_bytes(b"no photo")
    said = rootread(command, str(tmp_path), "--out", f"{tmp_path}/.")
    assert said.returncode == 2
    assert f"Write --out {tmp_path / 'results'}" in said.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["wall.jpg"]


def test_a_season_is_not_written_over_the_tables_it_is_made_of(tmp_path: Path) -> None:
    (tmp_path / "walls.csv").write_text("wall\n")
    said = rootread("tables", tmp_path, "--out", f"{tmp_path}/.", "--units", "cm")
    assert said.returncode == 2
    assert "is a folder of the results" in said.stderr and f"Write --out {tmp_path / 'season'}" in said.stderr
    assert (tmp_path / "walls.csv").read_text() == "wall\n"


def test_links_in_a_circle_are_refused_as_results_and_as_photos(tmp_path: Path) -> None:
    circle = tmp_path / "circle"
    circle.symlink_to(circle)
    (tmp_path / "a.jpg").write_bytes(b"no photo")
    for given, out in ((tmp_path, circle), (circle, tmp_path / "results")):
        said = rootread("grade", str(given), "--out", str(out))
        assert said.returncode == 2
        assert "Traceback" not in said.stderr


def test_a_run_that_is_stopped_by_hand_says_how_to_go_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "wall.jpg").write_bytes(b"no photo")

    def stopped(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("rootread.batch.grade_walls", stopped)
    said = CliRunner().invoke(app, ["grade", str(tmp_path), "--out", str(tmp_path / "results")])
    assert said.exit_code == 130
    assert "give the same command again to go on" in said.output
    assert said.output.startswith("Reading 1 wall ...\n")  # so that it is known to be at work


def test_a_report_on_paper_is_told_with_its_place(tmp_path: Path) -> None:
    (tmp_path / "wall.jpg").write_bytes(b"no photo")
    out = tmp_path / "results"
    said = CliRunner().invoke(app, ["grade", str(tmp_path), "--out", str(out), "--pdf"])
    assert said.output.splitlines()[-1] == f"PDF: {out.resolve() / 'report.pdf'}"
    assert (out / "report.pdf").read_bytes().startswith(b"%PDF")


def test_the_program_says_its_version() -> None:
    assert rootread("--version").stdout == f"rootread {version('rootread')}\n"


def test_the_command_is_there_for_python_too() -> None:
    """As where no folder of commands is on the path."""
    command = [sys.executable, "-m", "rootread", "--version"]
    said = subprocess.run(command, capture_output=True, text=True, check=True)
    assert said.stdout == rootread("--version").stdout


def test_roots_are_light_or_dark_for_the_mask_as_for_the_settings(tmp_path: Path) -> None:
    said = rootread("mask", "wall.jpg", "--out", tmp_path / "map.png", "--polarity", "pale")
    assert (said.returncode, said.stderr.strip()) == (
        2,
        "rootread: --polarity pale is not known. Choose light or dark.",
    )
    settings = tmp_path / "mine.toml"
    settings.write_text('[find]\npolarity = "pale"\n')
    with pytest.raises(BadRequest, match="Give one of light, dark"):
        read_settings(settings)

"""What README and the pages in shared/ say holds: examples run, links lead somewhere, tables are whole."""

import csv
import re
from dataclasses import fields
from pathlib import Path

import cv2
import pytest

from rootread.cli import app
from rootread.compare.table import COLUMNS as CONTRAST_COLUMNS
from rootread.fieldsheet.cells import COLUMNS as SHEET_COLUMNS
from rootread.schema import TABLES, columns_markdown
from rootread.settings import Settings, settings_markdown

REPOSITORY = Path(__file__).parent.parent
README = (REPOSITORY / "README.md").read_text(encoding="utf-8")
SHARED = {path.name: path.read_text(encoding="utf-8") for path in (REPOSITORY / "shared").glob("*.md")}
PAGES = [
    REPOSITORY / "README.md",
    REPOSITORY / "calibration" / "README.md",
    *(REPOSITORY / "shared").glob("*.md"),
]
SAMPLES = ("pit1-deep", "pit1-shallow")
WIDTH_PX = 1000
LINES = 10
FIVE_MINUTES_OF_WORDS = 1200
"""An adult reads about 240 words a minute (from memory)."""


def test_a_newcomer_reads_the_readme_in_five_minutes():
    assert len(README.split()) <= FIVE_MINUTES_OF_WORDS


@pytest.mark.parametrize("name", TABLES)
def test_the_columns_in_the_guide_are_those_of_the_schema(name):
    wanted = columns_markdown(TABLES[name])
    assert wanted in SHARED["columns.md"], f"the table of {name}.csv in shared/columns.md should be\n{wanted}"


def test_the_columns_of_a_contrast_are_in_the_guide():
    wanted = columns_markdown(CONTRAST_COLUMNS)
    assert wanted in SHARED["columns.md"], f"contrast.csv in shared/columns.md should be\n{wanted}"


def test_every_command_stands_in_the_list_of_commands():
    listed = re.findall(r"^\| `rootread ([a-z]+)", SHARED["commands.md"], re.M)
    names = [command.name or command.callback.__name__ for command in app.registered_commands]
    assert sorted(listed) == sorted(names)


@pytest.mark.parametrize("section", [section.name for section in fields(Settings)])
def test_the_settings_in_the_guide_are_those_of_the_program(section):
    wanted = settings_markdown(section)
    assert f"{wanted}\n" in SHARED["settings.md"], f"[{section}] in shared/settings.md should be\n{wanted}"


def test_every_column_of_the_sheet_is_explained():
    cells = [line.split("|")[1] for line in SHARED["field-sheet.md"].splitlines() if line.startswith("| `")]
    assert re.findall(r"`(\w+)`", " ".join(cells)) == list(SHEET_COLUMNS)


def test_every_example_of_a_sheet_cell_can_be_read():
    for line in SHARED["field-sheet.md"].splitlines():
        if not line.startswith("| `"):
            continue
        _, columns, _, examples, _ = line.split("|")
        names, cells = re.findall(r"`(\w+)`", columns), re.findall(r"`(.+?)`", examples)
        for name, cell in zip(names if len(names) > 1 else names * len(cells), cells, strict=True):
            SHEET_COLUMNS[name](cell)


def test_every_link_to_a_file_leads_somewhere():
    for page in PAGES:
        for target in re.findall(r"\]\(([^)#:]+)[^):]*\)", page.read_text(encoding="utf-8")):
            assert (page.parent / target).exists(), f"{page.name}: {target}"


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """Two of the samples, made small, under the name that the examples use."""
    folder = tmp_path_factory.mktemp("readme") / "sample_images"
    folder.mkdir()
    for name in SAMPLES:
        photo = cv2.imread(str(REPOSITORY / "sample_images" / f"{name}.jpg"))
        height = WIDTH_PX * photo.shape[0] // photo.shape[1]
        small = cv2.resize(photo, (WIDTH_PX, height), interpolation=cv2.INTER_AREA)
        cv2.imwrite(str(folder / f"{name}.jpg"), small)
    with (REPOSITORY / "sample_images" / "sheet.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    with (folder / "sheet.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([rows[0], *(row for row in rows[1:] if row[1] in SAMPLES)])
    return folder.parent


def test_every_example_in_python_runs(place, monkeypatch, capsys):
    monkeypatch.chdir(place)
    examples = re.findall(r"```python\n(.*?)```", SHARED["python.md"], re.S)
    assert len(examples) == 2
    for example in examples:
        exec(example, {})
    said = capsys.readouterr().out
    assert "roots crossed" in said and "tortuosity" in said
    assert "deep pass" in said and "pits_needed" in said


def test_from_folder_to_comparison_takes_ten_lines():
    examples = re.findall(r"```python\n(.*?)```", SHARED["python.md"], re.S)
    (example,) = [found for found in examples if "contrast" in found]
    assert len([line for line in example.splitlines() if line.strip()]) <= LINES

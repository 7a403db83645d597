"""What the README says holds: examples run, links lead somewhere, columns are the schema's."""

import csv
import re
from pathlib import Path

import cv2
import pytest

from rootread.schema import TABLES, columns_markdown

REPOSITORY = Path(__file__).parent.parent
README = (REPOSITORY / "README.md").read_text(encoding="utf-8")
COLUMNS = (REPOSITORY / "shared" / "columns.md").read_text(encoding="utf-8")
SAMPLES = ("pit1-deep", "pit1-shallow")
WIDTH_PX = 1000
LINES = 10


@pytest.mark.parametrize("name", TABLES)
def test_the_columns_in_the_guide_are_those_of_the_schema(name):
    wanted = columns_markdown(name)
    assert wanted in COLUMNS, f"the table of {name}.csv in shared/columns.md should be\n{wanted}"


def test_every_link_to_a_file_leads_somewhere():
    pages = [REPOSITORY / "README.md", *sorted((REPOSITORY / "shared").glob("*.md"))]
    for page in pages:
        for target in re.findall(r"\]\(([^)#:]+)\)", page.read_text(encoding="utf-8")):
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
    examples = re.findall(r"```python\n(.*?)```", README, re.S)
    assert len(examples) == 2
    for example in examples:
        exec(example, {})
    said = capsys.readouterr().out
    assert "roots crossed" in said and "tortuosity" in said
    assert "deep pass" in said and "pits_needed" in said


def test_from_folder_to_comparison_takes_ten_lines():
    (example,) = [found for found in re.findall(r"```python\n(.*?)```", README, re.S) if "contrast" in found]
    assert len([line for line in example.splitlines() if line.strip()]) <= LINES

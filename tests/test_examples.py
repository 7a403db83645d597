"""What the documentation shows is run: the examples of docstrings, and the first of the page on Python."""

import contextlib
import doctest
import importlib
import io
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
WITH_EXAMPLES = (
    "rootread",
    "rootread.errors",
    "rootread.fieldsheet.types",
    "rootread.geometry",
    "rootread.marks.read",
    "rootread.settings",
    "rootread.text",
    "rootread.units",
)


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_the_examples_of_a_module_give_what_they_say(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    found = doctest.testmod(importlib.import_module(name), optionflags=doctest.NORMALIZE_WHITESPACE)
    assert found.attempted > 0 and found.failed == 0


def test_the_page_on_python_reads_a_wall_as_it_says(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    text = (ROOT / "shared" / "python.md").read_text(encoding="utf-8")
    # The first block reads one wall; the next a whole folder, which takes a minute.
    code = re.findall(r"```python\n(.*?)```", text, re.DOTALL)[0]
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        exec(compile(code, "python.md", "exec"), {})
    assert "roots crossed" in said.getvalue() and "tortuosity" in said.getvalue()

"""The map in DEVELOPERS.md is true: all of the package is on it, in the order in which it is imported."""

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).parent.parent
PACKAGE = REPOSITORY / "rootread"
GUIDE = (REPOSITORY / "DEVELOPERS.md").read_text(encoding="utf-8")
ROWS = [line.split("|")[1] for line in GUIDE.splitlines() if line.startswith("| `")]
ON_THE_MAP = [name for row in ROWS for name in re.findall(r"`(\w+(?:/|\.py))`", row)]
IN_ORDER = [name.removesuffix("/").removesuffix(".py") for name in ON_THE_MAP]


def test_every_folder_and_module_of_the_package_is_on_the_map_once():
    folders = {f"{path.parent.name}/" for path in PACKAGE.glob("*/__init__.py")}
    modules = {path.name for path in PACKAGE.glob("*.py")} - {"__init__.py"}
    assert sorted(ON_THE_MAP) == sorted(folders | modules)


def test_every_file_that_the_guide_names_is_there():
    for line in GUIDE.splitlines():
        # In a row of the map a file is named within its folder.
        folders = re.findall(r"^\| `(\w+)/`", line)
        for name in re.findall(r"`([\w/]+\.(?:py|md|js|html|csv))`", line.replace("NAME", "types")):
            whole = [
                place / name for place in (REPOSITORY, PACKAGE, *(PACKAGE / folder for folder in folders))
            ]
            named = (
                [REPOSITORY / "tests" / name, *PACKAGE.rglob(name)] if "/" not in name and not folders else []
            )
            assert any(path.exists() for path in whole + named), name


@pytest.mark.parametrize("folder", [name.removesuffix("/") for name in ON_THE_MAP if name.endswith("/")])
def test_a_folder_imports_none_that_comes_later(folder):
    later = IN_ORDER[IN_ORDER.index(folder) + 1 : IN_ORDER.index("cli")]
    for path in (PACKAGE / folder).rglob("*.py"):
        wrong = [name for name in imported(path) if name in later]
        assert not wrong, f"{path.relative_to(PACKAGE)} imports {wrong}"


def imported(path: Path) -> Iterator[str]:
    """Folders and modules of the package that a file imports, wherever in it."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            whole = [f"{node.module}.{name.name}" for name in node.names]
        elif isinstance(node, ast.Import):
            whole = [name.name for name in node.names]
        else:
            continue
        yield from (name.split(".")[1] for name in whole if name.startswith("rootread."))


def test_what_judges_the_code_is_named_by_one_release_wherever_it_is_asked_for():
    """Lest a newer one judge otherwise overnight."""
    project = tomllib.loads((REPOSITORY / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    asked = {need for needs in project["optional-dependencies"].values() for need in needs}
    for tool in ("ruff", "mypy", "pandas-stubs"):
        (need,) = {need for need in asked if re.match(rf"{tool}\b", need)}
        assert re.fullmatch(rf"{tool}==[\d.]+", need)

"""Roots kept from run to run: what is made of them afterwards is what a run from nothing makes."""

import shutil
from collections.abc import Iterator
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest
from report_walls import empty_wall, turned_wall
from run_files import files_of, made_wall

import rootread
from rootread.batch import grade_walls, plan_walls
from rootread.batch.roots import kept_roots, write_roots
from rootread.geometry import Points
from rootread.marks import Marks, marks_path, write_marks
from rootread.marks.types import RootMark
from rootread.settings import Settings, settings_from_dict

KEY = "what the roots were made from"
WALL = "north"


def shown(**section: object) -> Settings:
    return settings_from_dict({"report": section}, "here")


@pytest.fixture(scope="module", autouse=True)
def pit_floor() -> Iterator[None]:
    """Every wall here ends at a pit floor, where its deepest root ends; words on it have a length in them."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            "rootread.find.second_look.floor_row", lambda half, on: np.flatnonzero(on.any(axis=1))[-1]
        )
        yield


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A made wall on which a person struck out a root, split and drew one, and saw one flattened."""
    photo = made_wall(tmp_path_factory.mktemp("photos"), WALL)
    wall = rootread.read_wall(photo)
    lines = [_as_marked(wall.plane.to_photo_px(root.points)) for root in wall.traces]
    first, second, third = sorted(lines, key=len)[-3:]
    marks = Marks(
        roots_struck_px=(first,),
        flattened_px=(second[: len(second) // 2],),
        splits_px=(third[len(third) // 2],),
        roots_added=(RootMark(((100.0, 300.0), (150.0, 450.0)), 5.0),),
    )
    marks_path(photo, WALL).parent.mkdir()
    write_marks(marks, marks_path(photo, WALL))
    return photo.parent


@pytest.fixture(scope="module")
def in_inches(photos: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return graded(photos, tmp_path_factory.mktemp("inches"), Settings())


@pytest.fixture
def again(in_inches: Path, tmp_path: Path) -> Path:
    """The same results, to run again over."""
    return Path(shutil.copytree(in_inches, tmp_path / "again" / "out")).parent


@pytest.fixture
def sought(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Told of every wall in which roots are looked for."""
    seen: list[str] = []
    real = rootread.wall.find_roots
    monkeypatch.setattr("rootread.wall.find_roots", lambda *given: seen.append("found") or real(*given))
    return seen


def _as_marked(line_px: Points) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in line_px)


def graded(photos: Path, place: Path, settings: Settings) -> Path:
    # The report names its folder, so all lie in folders of one name.
    grade_walls(plan_walls([photos]), place / "out", settings)
    return place / "out"


@pytest.mark.parametrize(
    "settings",
    [
        shown(units="cm"),
        shown(units="cm", export_rsml=True, export_svg=True),
        settings_from_dict({"measure": {"run_min_length_in": 2.5}, "judge": {"open_from": 70}}, "here"),
    ],
    ids=["in centimetres", "with exports", "measured and judged otherwise"],
)
def test_what_is_made_of_kept_roots_is_what_a_run_from_nothing_makes(
    settings: Settings, photos: Path, again: Path, sought: list[str], tmp_path: Path
) -> None:
    over = files_of(graded(photos, again, settings))
    assert not sought
    fresh = files_of(graded(photos, tmp_path / "fresh", settings))
    assert sought
    assert over == fresh


def test_the_words_on_the_pit_floor_follow_the_unit(photos: Path, again: Path) -> None:
    def said(out: Path) -> str:
        return (out / "walls.csv").read_text(encoding="utf-8")

    assert " in down: what lies below it is not read" in said(again / "out")
    assert " cm down: what lies below it is not read" in said(graded(photos, again, shown(units="cm")))


def test_graphml_is_made_of_pixels_so_roots_are_sought_again(
    photos: Path, again: Path, sought: list[str], tmp_path: Path
) -> None:
    settings = shown(export_graphml=True)
    over = files_of(graded(photos, again, settings))
    assert sought
    assert over == files_of(graded(photos, tmp_path / "fresh", settings))


def test_damaged_roots_are_sought_again(photos: Path, again: Path, sought: list[str], tmp_path: Path) -> None:
    kept = again / "out" / "records" / f"{WALL}.npz"
    key = plan_walls([photos]).jobs[0].roots_key(Settings())
    assert kept_roots(again / "out", WALL, key, Settings()) is not None
    whole = kept.read_bytes()
    last = whole.rindex(
        b"PK\x01\x02"
    )  # the zip's own record of its last array: its compression method is at 10
    strange = whole[: last + 10] + b"\x63" + whole[last + 11 :]
    for damaged in (
        b"",
        b"no roots",
        whole[: len(whole) // 2],
        whole[: last - 40] + b"?" * 40 + whole[last:],
        strange,
    ):
        kept.write_bytes(damaged)
        assert kept_roots(again / "out", WALL, key, Settings()) is None
    graded(photos, again, shown(units="cm"))
    assert sought and kept.read_bytes() == whole


def test_roots_depend_on_photo_marks_program_and_the_settings_up_to_following(
    photos: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (job,) = plan_walls([photos]).jobs
    key = job.roots_key(Settings())
    after = {"measure": {"run_min_length_in": 2.5}, "judge": {"open_from": 70}, "report": {"units": "cm"}}
    up_to = {
        "photo": {"min_megapixels": 0.2},
        "plane": {"working_px_per_in": 70},
        "find": {"finder": "ridges"},
        "follow": {"max_gap_in": 1},
    }
    assert {*after, *up_to} == {section.name for section in fields(Settings)}
    for name, section in after.items():
        assert job.roots_key(settings_from_dict({name: section}, "here")) == key
    for name, section in up_to.items():
        assert job.roots_key(settings_from_dict({name: section}, "here")) != key
    assert replace(job, marks=None).roots_key(Settings()) != key
    assert replace(job, row=replace(job.row, scale="tape")).roots_key(Settings()) != key
    assert replace(job, photo=photos / "nowhere.jpg").roots_key(Settings()) != key
    monkeypatch.setattr("rootread.batch.plan.program", lambda: "other code")
    assert job.roots_key(Settings()) != key


def test_a_wall_that_is_refused_later_leaves_no_roots(photos: Path, again: Path) -> None:
    refused = Path(shutil.copytree(photos, again / "photos"))
    (refused / f"{WALL}.jpg").write_bytes(b"no photo")
    graded(refused, again, Settings())
    assert not (again / "out" / "records" / f"{WALL}.npz").exists()


def test_traces_come_back_as_they_were(tmp_path: Path) -> None:
    first, second, *others = turned_wall().traces
    flat = np.arange(len(first.points)) < 9
    first = replace(first, squeezed=flat, width_se_in=0.012, cut=True)
    wall = replace(turned_wall(), traces=(first, replace(second, parent=first.id, order=1), *others))
    write_roots(wall, tmp_path, KEY)
    roots = kept_roots(tmp_path, wall.name, KEY, Settings())
    assert roots is not None
    for back, before in zip(roots.traces, wall.traces, strict=True):
        for field in fields(before):
            np.testing.assert_array_equal(getattr(back, field.name), getattr(before, field.name))


def test_a_wall_without_roots_is_kept_too(tmp_path: Path) -> None:
    write_roots(empty_wall(), tmp_path, KEY)
    roots = kept_roots(tmp_path, empty_wall().name, KEY, Settings())
    assert roots is not None and roots.traces == ()


def test_cautions_and_cracks_come_back_as_they_were(tmp_path: Path) -> None:
    crack = np.zeros((10, 10), dtype=bool)
    crack[3:6, 2] = crack[8] = True
    root_map = replace(turned_wall().root_map, crack=crack, cautions=("It is very dark.",))
    wall = replace(turned_wall(), root_map=root_map)
    write_roots(wall, tmp_path, KEY)
    roots = kept_roots(tmp_path, wall.name, KEY, Settings())
    assert roots is not None and roots.root_map.cautions == ("It is very dark.",)
    np.testing.assert_array_equal(roots.root_map.cracks_in, root_map.cracks_in)

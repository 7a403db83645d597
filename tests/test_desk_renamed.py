"""Marks are drawn on a photo: whatever the sheet calls its wall, they stay with it, and none is ever lost."""

import json
from pathlib import Path
from typing import Any

import pytest
from desk_walls import put_bare_photo

from rootread.batch import plan_walls
from rootread.desk import Desk
from rootread.desk.walldesk import Stale
from rootread.errors import BadMarks
from rootread.marks import Marks, marks_values, read_marks, write_marks


def a_mark(at: float) -> Marks:
    return Marks(splits_px=((at, at),))


def as_sent(marks: Marks) -> Any:
    """As a page sends them."""
    return json.loads(json.dumps(marks_values(marks)))


def put_marks(folder: Path, **marks: Marks) -> None:
    for name, drawn in marks.items():
        write_marks(drawn, folder / "marks" / f"{name}.json")


def desk_of(folder: Path, *photos: str) -> Desk:
    for photo in photos:
        put_bare_photo(folder, photo)
    return Desk(folder)


def name(desk: Desk, **walls: str) -> None:
    """Say in the sheet what the wall of each photo is called."""
    rows = [f"{photo}.jpg,{wall}" for photo, wall in walls.items()]
    (desk.folder.path / "sheet.csv").write_text("\n".join(["photo,wall", *rows, ""]), encoding="utf-8")
    desk.refresh()


def in_files(folder: Path) -> dict[str, Marks]:
    """What lies in the folder of marks, by the names of its files."""
    files = (path for path in (folder / "marks").rglob("*") if path.is_file())
    return {path.relative_to(folder / "marks").as_posix(): read_marks(path) for path in files}


def agree(desk: Desk) -> bool:
    """Whether desk and run go by the same marks."""
    jobs = plan_walls([desk.folder.path], desk.out).jobs
    return all(
        desk.wall(job.row.wall).marks == (read_marks(job.marks) if job.marks else Marks()) for job in jobs
    )


def test_marks_follow_a_wall_that_the_sheet_renames(tmp_path: Path) -> None:
    put_marks(tmp_path, a=a_mark(1))
    desk = desk_of(tmp_path, "a")
    name(desk, a="south")
    assert desk.wall("south").marks == a_mark(1)
    assert in_files(tmp_path) == {"south.json": a_mark(1)} and agree(desk)


@pytest.mark.parametrize("marked", [("a", "b"), ("a",), ("b",)])
def test_marks_of_walls_that_change_names_go_with_their_photos(
    tmp_path: Path, marked: tuple[str, ...]
) -> None:
    on = {"a": a_mark(1), "b": a_mark(2)}
    put_marks(tmp_path, **{wall: on[wall] for wall in marked})
    desk = desk_of(tmp_path, "a", "b")
    name(desk, a="b", b="a")
    other = {"a": "b", "b": "a"}
    assert in_files(tmp_path) == {f"{other[wall]}.json": on[wall] for wall in marked}
    for wall in marked:
        assert desk.wall(other[wall]).marks == on[wall]
    assert agree(desk) and not any("held marks" in message for message in desk.messages)
    # And what is drawn next is saved beside its own photo, over nobody else's.
    wall = desk.wall("b")
    wall.take_marks(as_sent(a_mark(3)), wall.revision)
    assert agree(desk) and read_marks(tmp_path / "marks" / "b.json").splits_px == ((3.0, 3.0),)
    if "b" in marked:
        assert read_marks(tmp_path / "marks" / "a.json") == on["b"]


def test_names_may_go_round_three_walls(tmp_path: Path) -> None:
    put_marks(tmp_path, a=a_mark(1), b=a_mark(2), c=a_mark(3))
    desk = desk_of(tmp_path, "a", "b", "c")
    name(desk, a="b", b="c", c="a")
    assert in_files(tmp_path) == {"b.json": a_mark(1), "c.json": a_mark(2), "a.json": a_mark(3)}
    assert agree(desk)


def test_a_second_person_s_marks_go_with_the_photo_too(tmp_path: Path) -> None:
    put_marks(tmp_path, a=a_mark(1), b=a_mark(2), **{"second/a": a_mark(3)})
    desk = desk_of(tmp_path, "a", "b")
    name(desk, a="b", b="a")
    assert in_files(tmp_path) == {"b.json": a_mark(1), "a.json": a_mark(2), "second/b.json": a_mark(3)}


def test_marks_that_lie_under_the_new_name_are_set_aside_and_told(tmp_path: Path) -> None:
    put_marks(tmp_path, a=a_mark(1), gone=a_mark(2), **{"gone-earlier": a_mark(3)})
    desk = desk_of(tmp_path, "a")
    name(desk, a="gone")
    assert desk.wall("gone").marks == a_mark(1) and agree(desk)
    assert in_files(tmp_path) == {
        "gone.json": a_mark(1),
        "gone-earlier.json": a_mark(3),
        "gone-earlier-2.json": a_mark(2),
    }
    kept = "they are kept as marks/gone-earlier-2.json."
    told = f"marks/gone.json held marks of another photo, drawn before; {kept}"
    assert desk.messages == [told]


def test_a_wall_without_marks_takes_those_under_its_new_name_as_a_run_does(tmp_path: Path) -> None:
    put_marks(tmp_path, south=a_mark(1))
    desk = desk_of(tmp_path, "a")
    name(desk, a="south")
    assert desk.wall("south").marks == a_mark(1) and agree(desk)
    (tmp_path / "marks" / "north.json").write_text("{", encoding="utf-8")
    desk.wall("south").take_marks({"version": 1}, desk.wall("south").revision)
    name(desk, a="north")
    assert isinstance(desk.wall("north").refusal, BadMarks)


def test_marks_of_another_photo_s_size_do_not_follow_and_names_put_right_bring_them_home(
    tmp_path: Path,
) -> None:
    """As after the names were mixed up in a spreadsheet, and put right at the desk."""
    small = Marks(photo_size_px=(700, 500), splits_px=((1.0, 1.0),))
    own = Marks(photo_size_px=(800, 500), splits_px=((2.0, 2.0),))
    put_marks(tmp_path, a=small, b=own)
    desk = desk_of(tmp_path, "a")
    with pytest.raises(BadMarks):
        desk.wall("a").open_photo()
    name(desk, a="b")
    assert desk.wall("b").marks == own and desk.wall("b").broken is None
    assert in_files(tmp_path) == {"a.json": small, "b.json": own}


def test_a_page_that_shows_the_photo_which_had_the_name_before_marks_nothing_on_the_other(
    tmp_path: Path,
) -> None:
    desk = desk_of(tmp_path, "a", "b")
    shown = desk.wall("a")
    known, version = shown.revision, shown.version
    name(desk, a="b", b="a")
    with pytest.raises(Stale):
        desk.wall("a").take_marks(as_sent(a_mark(1)), known)
    assert desk.wall("a").version > version and desk.wall("a").summary()["photo"] == "b.jpg"


def test_marks_that_were_under_way_when_the_computer_went_off_arrive_as_the_desk_opens_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_marks(tmp_path, a=a_mark(1), b=a_mark(2), **{"second/a": a_mark(3)})
    desk = desk_of(tmp_path, "a", "b")

    def went_off(place: Path) -> list[str]:
        raise SystemExit

    with monkeypatch.context() as patched:
        patched.setattr("rootread.desk.renamed._arrive", went_off)
        with pytest.raises(SystemExit):
            name(desk, a="b", b="a")
    desk = Desk(tmp_path)
    assert in_files(tmp_path) == {"b.json": a_mark(1), "a.json": a_mark(2), "second/b.json": a_mark(3)}
    assert desk.wall("b").job.photo.name == "a.jpg" and desk.wall("b").marks == a_mark(1) and agree(desk)

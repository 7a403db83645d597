"""Folders within folders, sheets at any height, and what a wall is called that nobody named."""

from pathlib import Path

import pytest
from run_files import gravel

from rootread.batch import grade_walls, plan_walls
from rootread.check import check_photo
from rootread.errors import BadRequest, BadSheet


def photo(path: Path) -> Path:
    """A file that is a photo by its name; planning opens none."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"")
    return path


def names(place: Path, out: Path | None = None) -> list[str]:
    return [job.row.wall for job in plan_walls([place], out).jobs]


def test_photos_of_folders_within_a_folder_are_found_in_order(tmp_path):
    for name in ("b.jpg", "pit 2/deep/x.JPG", "pit 1/y.png", "a.heic", "pit 1/notes.txt", ".hidden/z.jpg"):
        photo(tmp_path / name)
    assert names(tmp_path) == ["a", "b", "pit 1-y", "pit 2-deep-x"]


def test_cameras_may_use_one_name_in_every_pit(tmp_path):
    photos = [photo(tmp_path / f"pit {pit}" / "IMG_0001.jpg") for pit in (1, 2, 3)]
    assert names(tmp_path) == ["pit 1-IMG_0001", "pit 2-IMG_0001", "pit 3-IMG_0001"]
    assert [job.photo for job in plan_walls([tmp_path]).jobs] == photos


def test_each_folder_is_under_its_own_sheet_or_the_one_above(tmp_path):
    for name in ("top.jpg", "pit 1/one.jpg", "pit 2/two.jpg", "pit 2/deeper/three.jpg"):
        photo(tmp_path / name)
    (tmp_path / "sheet.csv").write_text("photo,wall,treatment\ntop,,a\none,north,b\n")
    (tmp_path / "pit 2" / "sheet.csv").write_text("photo,wall,treatment\ntwo,,c\nthree,south,d\n")
    jobs = plan_walls([tmp_path]).jobs
    assert {job.row.wall: job.row.treatment for job in jobs} == {
        "top": "a",
        "north": "b",
        "pit 2-two": "c",
        "south": "d",
    }
    assert plan_walls([tmp_path]).messages == ()


def test_what_does_not_fit_is_told_with_its_folder(tmp_path):
    photo(tmp_path / "pit 1" / "IMG_1.jpg")
    (tmp_path / "pit 1" / "sheet.csv").write_text("photo\nIMG_7.jpg\n")
    assert plan_walls([tmp_path]).messages == (
        "pit 1/sheet.csv: row 2: there is no photo IMG_7.jpg in the folder. Did you mean IMG_1.jpg?",
        "pit 1/sheet.csv: there is no row for pit 1/IMG_1.jpg; it is read without one.",
    )


def test_treatments_that_are_alike_are_told_before_a_run_and_found_by_a_check(tmp_path):
    for name in ("a.jpg", "b.jpg", "c.jpg"):
        photo(tmp_path / name)
    (tmp_path / "sheet.csv").write_text("photo,treatment\na,deep pass\nb,Deep Pass\nc,shallow pass\n")
    plan = plan_walls([tmp_path])
    asked = "deep pass and Deep Pass differ only in capitals, spaces or hyphens: one treatment?"
    assert plan.messages == () and plan.told == (f"{asked} Write it the same way in every row of the sheet.",)
    found = [
        [finding for finding in check_photo(job.photo, job.row, alike=plan.alike).findings
         if finding.question == "treatment"] for job in plan.jobs
    ]  # fmt: skip
    assert [[(finding.state, finding.seen) for finding in of_photo] for of_photo in found] == [
        [("look", asked)],
        [("look", asked)],
        [],
    ]


def test_cone_readings_of_a_wall_that_is_not_there_are_told(tmp_path):
    for name in ("north.jpg", "pit 2/IMG_1.jpg", "pit 2/IMG_2.jpg"):
        photo(tmp_path / name)
    head = "wall,x_in,depth_in,psi\n"
    (tmp_path / "cone.csv").write_text(f"{head}North,0,2,100\nsouth,0,2,100\nsouth,0,4,120\n")
    (tmp_path / "pit 2" / "cone.csv").write_text(f"{head}IMG_1,0,2,100\nIMG_22,0,2,100\n")
    plan = plan_walls([tmp_path])
    assert plan.messages == (
        "cone.csv: row 3: there is no wall south in the folder.",
        "pit 2/cone.csv: row 3: there is no wall IMG_22 in the folder. Did you mean IMG_2?",
    )
    assert [len(job.row.cone) for job in plan.jobs] == [1, 1, 0]
    # Of one photo alone, readings of other walls say nothing.
    assert plan_walls([tmp_path / "north.jpg"]).messages == ()


def test_a_row_that_could_mean_two_photos_names_both(tmp_path):
    photo(tmp_path / "pit 1" / "IMG_1.jpg")
    photo(tmp_path / "pit 2" / "IMG_1.jpg")
    (tmp_path / "sheet.csv").write_text("photo\nIMG_1.jpg\n")
    with pytest.raises(
        BadSheet, match=r"sheet.csv: row 2: IMG_1.jpg could be pit 1/IMG_1.jpg or pit 2/IMG_1.jpg"
    ):
        plan_walls([tmp_path])


def test_a_wall_named_twice_is_a_wrong_request(tmp_path):
    for pit in ("pit 1", "pit 2"):
        photo(tmp_path / pit / "a.jpg")
        (tmp_path / pit / "sheet.csv").write_text("photo,wall\na,north\n")
    with pytest.raises(BadRequest, match="both be wall north"):
        plan_walls([tmp_path])


def test_walls_of_an_earlier_run_are_told_and_left_where_they_are(tmp_path):
    for name in ("north", "south"):
        gravel(tmp_path / "pits", name)
    out = tmp_path / "out"
    assert grade_walls(plan_walls([tmp_path / "pits"]), out).earlier == ""
    (tmp_path / "pits" / "south.jpg").unlink()
    assert grade_walls(plan_walls([tmp_path / "pits"]), out).earlier == (
        f"{out} also holds south from an earlier run: its files stay, in no table and no report."
    )
    assert (out / "records" / "south.json").exists()
    assert "south" not in (out / "walls.csv").read_text()


def test_results_within_the_folder_of_photos_are_not_taken_for_photos(tmp_path):
    photo(tmp_path / "a.jpg")
    photo(tmp_path / "graded" / "pictures" / "a.jpg")
    assert names(tmp_path, tmp_path / "graded") == ["a"]
    assert len(names(tmp_path)) == 2
    (tmp_path / "graded" / "records").mkdir()
    assert names(tmp_path) == ["a"]


def test_marks_lie_beside_the_photo_under_the_name_it_has_there(tmp_path):
    photo(tmp_path / "pit 1" / "a.jpg")
    marks = photo(tmp_path / "pit 1" / "marks" / "a.json")
    (job,) = plan_walls([tmp_path]).jobs
    assert (job.row.wall, job.marks) == ("pit 1-a", marks)


def test_a_row_put_in_above_changes_no_other_wall(tmp_path):
    from rootread.settings import Settings

    gravel(tmp_path, "a")
    sheet = tmp_path / "sheet.csv"
    sheet.write_text("photo,pit\na,1\n")
    before = plan_walls([tmp_path]).jobs[0].key(Settings())
    sheet.write_text("photo,pit\nnot here,2\na,1\n")
    assert plan_walls([tmp_path]).jobs[0].key(Settings()) == before
    sheet.write_text("photo,pit\na,2\n")
    assert plan_walls([tmp_path]).jobs[0].key(Settings()) != before


def test_results_among_the_photos_themselves_are_not_taken_for_photos(tmp_path):
    for name in ("a.jpg", "pictures/a.jpg", "exports/a.png", "pit 2/b.jpg"):
        photo(tmp_path / name)
    assert names(tmp_path) == ["a", "exports-a", "pictures-a", "pit 2-b"]
    (tmp_path / "walls.csv").write_text("wall\n")
    assert names(tmp_path) == ["a", "pit 2-b"]
    assert names(tmp_path, tmp_path) == ["a", "pit 2-b"]


def test_raw_photos_are_told_unless_the_same_photo_is_there_as_jpeg(tmp_path):
    for name in ("a.jpg", "A.CR2", "b.NEF"):
        photo(tmp_path / name)
    plan = plan_walls([tmp_path])
    assert [job.row.wall for job in plan.jobs] == ["a"]
    assert plan.messages == ("b.NEF: raw photos are not read. Save them as JPEG or TIFF.",)
    (tmp_path / "a.jpg").unlink()
    with pytest.raises(BadRequest) as refused:
        plan_walls([tmp_path])
    assert refused.value.remedy.startswith("A.CR2, b.NEF: raw photos are not read.")


@pytest.mark.parametrize(
    "name", ["Sheet.CSV", "sheet.csv.csv", "sheet.xlsx", "sheet.csv.txt", "field-sheet.csv"]
)
def test_a_sheet_by_another_name_is_told_how_to_be_named(tmp_path, name):
    photo(tmp_path / "a.jpg")
    (tmp_path / name).write_text("photo\na.jpg\n")
    (told,) = plan_walls([tmp_path]).messages
    assert told == f"{name} is not read as the sheet. Save it as CSV, named sheet.csv."
    (tmp_path / "sheet.csv").write_text("photo\na.jpg\n")
    assert plan_walls([tmp_path]).messages == ()


def test_a_table_given_as_a_photo_is_told_to_be_none(tmp_path):
    (tmp_path / "sheet.csv").write_text("photo\n")
    with pytest.raises(BadRequest, match=r"sheet\.csv is no photo\. Name photos"):
        plan_walls([tmp_path / "sheet.csv"])


def test_names_that_pictures_cannot_show_are_told_once(tmp_path):
    unheard_of = "\U000f0000"  # for private use: no font of a system has it
    for name in ("a.jpg", "b.jpg", "c.jpg"):
        photo(tmp_path / name)
    rows = f"photo,treatment,layers\na,deep {unheard_of},\nb,deep {unheard_of},\nc,open,pan {unheard_of} 6\n"
    (tmp_path / "sheet.csv").write_text(rows, encoding="utf-8")
    (told,) = plan_walls([tmp_path]).messages
    assert told.startswith(
        f"No font on this machine has all letters of deep {unheard_of}, pan {unheard_of}: pictures show ?"
    )
    (tmp_path / "sheet.csv").write_text("photo,treatment\na,Größe\nb,b\nc,c\n", encoding="utf-8")
    assert plan_walls([tmp_path]).messages == ()


def test_a_photo_that_lies_there_twice_is_told(tmp_path):
    for name, content in (
        ("a.jpg", b"wall"),
        ("pit 1/b.jpg", b"wall"),
        ("c.jpg", b"else"),
        ("d.jpg", b"other"),
    ):
        photo(tmp_path / name).write_bytes(content)
    (told,) = plan_walls([tmp_path]).messages
    assert told == (
        f"{tmp_path / 'a.jpg'} and {tmp_path / 'pit 1' / 'b.jpg'} are one photo. "
        "Take all but one away, or the wall counts twice."
    )
    assert plan_walls([tmp_path / "a.jpg", tmp_path / "a.jpg"]).messages == ()

"""A sheet that comes with photos is taken into the desk's own, cell by cell; what is not taken is said."""

import base64
from pathlib import Path

import pytest
from desk_walls import HOST, TOKEN, put_bare_photo
from starlette.testclient import TestClient

from rootread.desk import Desk
from rootread.desk.cells import Sheet, cell_faults, with_rows
from rootread.desk.server import make_app
from rootread.desk.typed import as_shown, as_written, said_of_typed
from rootread.errors import BadSheet
from rootread.fieldsheet import COLUMNS, read_sheet, sheet_cells
from rootread.units import REMEDY, lengths_shown_in

OWN = Sheet(("photo", "wall", "treatment"), (("north.jpg", "", ""), ("south.jpg", "S", "none")))


def cells(sheet: Sheet) -> dict[str, dict[str, str]]:
    """Each row by its photo, without its blanks."""
    rows = (dict(zip(sheet.columns, row, strict=True)) for row in sheet.rows)
    return {row.pop("photo"): {column: cell for column, cell in row.items() if cell} for row in rows}


def test_blank_cells_are_filled_and_new_columns_stand_in_their_order() -> None:
    columns = ["treatment", "photo", "tool_depth_in", "pit"]
    merged, says = with_rows(OWN, columns, [["deep pass", "NORTH.JPG", "14 in", "pit 1"]], {})
    assert merged.columns == ("photo", "wall", "pit", "treatment", "tool_depth_in")
    assert cells(merged)["north.jpg"] == {"pit": "pit 1", "treatment": "deep pass", "tool_depth_in": "14 in"}
    assert says == []


def test_what_a_person_wrote_at_the_desk_stays_and_the_other_word_is_said() -> None:
    merged, says = with_rows(OWN, ["photo", "treatment"], [["south", "deep pass"], ["", ""]], {})
    assert cells(merged)["south.jpg"]["treatment"] == "none"
    assert says == ["Row 2, treatment: 'deep pass' is not taken, 'none' stays."]


def test_a_cell_that_cannot_be_understood_is_left_blank_and_the_rest_of_its_row_is_taken() -> None:
    columns = ["photo", "tool_depth_in", "treatment"]
    merged, says = with_rows(OWN, columns, [["north.jpg", "seven", "deep pass", "stray"]], {})
    assert cells(merged)["north.jpg"] == {"treatment": "deep pass"}
    stray, fault = says
    assert stray == "Row 2 has 'stray' under no column."
    assert fault.startswith("Row 2, tool_depth_in: ") and fault.endswith("It is left blank.")


def test_a_row_follows_its_photo_to_the_name_that_the_photo_got_here() -> None:
    """Cameras use the same names again: the second IMG_1.jpg became IMG_1-2.jpg."""
    own = Sheet(("photo", "treatment"), (("IMG_1.jpg", "none"), ("IMG_1-2.jpg", "")))
    merged, says = with_rows(own, ["photo", "treatment"], [["img_1", "deep"]], {"IMG_1.JPG": "IMG_1-2.jpg"})
    assert cells(merged) == {"IMG_1.jpg": {"treatment": "none"}, "IMG_1-2.jpg": {"treatment": "deep"}}
    assert says == []


def test_two_walls_of_one_name_are_told_apart_by_leaving_the_later_name_blank() -> None:
    merged, says = with_rows(OWN, ["photo", "wall"], [["north.jpg", "s"]], {})
    assert list(cells(merged)) == ["north.jpg", "south.jpg"]
    assert sum("wall" in row for row in cells(merged).values()) == 1
    assert "has the same wall" in says[0]


def test_a_row_whose_photo_is_yet_to_come_is_kept_and_one_that_names_none_is_not() -> None:
    merged, says = with_rows(OWN, ["photo", "treatment"], [["east.jpg", "deep"], ["", "deep"]], {})
    assert cells(merged)["east.jpg"] == {"treatment": "deep"}
    assert says == ["Row 3 names no photo and is left out."]


@pytest.fixture
def client(tmp_path: Path) -> TestClient:
    put_bare_photo(tmp_path)
    return TestClient(make_app(Desk(tmp_path), TOKEN), base_url=HOST, headers={"x-desk-token": TOKEN})


def send(client: TestClient, content: bytes, photos: object = None):
    sent = base64.b64encode(content).decode()
    return client.post("/api/sheet/file", json={"content_base64": sent, "photos": photos or {}})


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_a_sheet_as_any_spreadsheet_saves_it_is_taken(
    client: TestClient, tmp_path: Path, encoding: str
) -> None:
    answer = send(client, "photo;treatment\nbare.jpg;größer, tief\n".encode(encoding))
    assert answer.json() == {"says": []}
    (row,) = read_sheet(tmp_path / "sheet.csv")
    assert (row.photo, row.treatment) == ("bare.jpg", "größer, tief")
    assert client.get("/api/desk").json()["walls"][0]["treatment"] == "größer, tief"


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "empty"),
        (b"photo,tretment\nbare.jpg,deep\n", "treatment"),
        (b"wall,treatment\nbare,deep\n", "no column photo"),
        (b"\xff\xd8\xff\xe0 a picture", "column"),
    ],
)
def test_what_is_no_sheet_is_turned_away_and_the_old_one_stays(
    client: TestClient, tmp_path: Path, content: bytes, says: str
) -> None:
    (tmp_path / "sheet.csv").write_text("photo,treatment\nbare.jpg,none\n", encoding="utf-8")
    answer = send(client, content)
    assert answer.status_code == 422
    assert says in " ".join(answer.json().values())
    assert read_sheet(tmp_path / "sheet.csv")[0].treatment == "none"
    assert [file.name for file in tmp_path.iterdir() if file.name.startswith(".")] == []


@pytest.mark.parametrize(
    "value",
    [[], {}, {"content_base64": 5}, {"content_base64": "?"}, {"content_base64": "", "photos": {"a": 5}}],
)
def test_what_is_not_sent_by_the_page_is_turned_away(client: TestClient, value: object) -> None:
    assert client.post("/api/sheet/file", json=value).status_code == 422


def test_the_sheet_of_the_folder_is_shown_as_it_was_saved_on_windows(
    client: TestClient, tmp_path: Path
) -> None:
    (tmp_path / "sheet.csv").write_bytes("photo,notes\nbare.jpg,Pfütze\n".encode("cp1252"))
    sheet = client.get("/api/sheet").json()
    assert "Pfütze" in sheet["rows"][0]


def test_a_sheet_with_an_unknown_column_is_not_shown_without_it(client: TestClient, tmp_path: Path) -> None:
    """Saving it from the table would lose the column."""
    (tmp_path / "sheet.csv").write_text("photo,tretment\nbare.jpg,deep\n", encoding="utf-8")
    answer = client.get("/api/sheet")
    assert answer.status_code == 422 and "tretment" in answer.json()["cause"]


def test_a_sheet_that_came_with_photos_is_not_written_over_by_one_that_was_open(
    client: TestClient, tmp_path: Path
) -> None:
    opened = client.get("/api/sheet").json()
    send(client, b"photo,treatment\nbare.jpg,deep pass\n")
    opened["rows"][0][opened["columns"].index("notes")] = "stony"
    answer = client.put("/api/sheet", json=opened)
    assert answer.status_code == 409 and "changed elsewhere" in answer.json()["cause"]
    now = client.get("/api/sheet").json()
    now["rows"][0][now["columns"].index("notes")] = "stony"
    saved = client.put("/api/sheet", json=now).json()
    now["rows"][0][now["columns"].index("pit")] = "pit 1"
    assert client.put("/api/sheet", json=now | {"revision": saved["revision"]}).json()["saved"]
    (row,) = read_sheet(tmp_path / "sheet.csv")
    assert (row.treatment, row.notes, row.pit) == ("deep pass", "stony", "pit 1")


BARE_NUMBERS = [
    ("tool_depth_in", "14", "35.56 cm"),
    ("pit_depth_in", "13 1/2", "34.29 cm"),
    ("shanks_at_in", "-22; 8", "-55.88 cm; 20.32 cm"),
    ("layers", "disk 6; A/B 13.5; 2 15 cm", "disk 15.24 cm; A/B 34.29 cm; 2 15 cm"),
    ("scale", "card:2.0", "card:5.08 cm"),
    ("scale", "tape:0.125", "tape:0.3175 cm"),
    ("calipers", "0.04/0.03", "0.1016 cm/0.0762 cm"),
    ("calipers", "0.12/0.08 at 7; 2.8 mm/1.1 mm", "0.3048 cm/0.2032 cm at 17.78 cm; 2.8 mm/1.1 mm"),
]
"""A column, a cell of the file, and that cell at a desk that shows centimetres."""


def sheet_of_one(column: str, cell: str) -> Sheet:
    return Sheet(("photo", column), (("north.jpg", cell),))


@pytest.mark.parametrize(("column", "cell", "in_cm"), BARE_NUMBERS)
def test_bare_numbers_of_the_file_are_shown_in_centimetres_and_stay_as_they_were(
    column: str, cell: str, in_cm: str
) -> None:
    own = sheet_of_one(column, cell)
    with lengths_shown_in("cm"):
        assert as_shown(own).rows == (("north.jpg", in_cm),)
        assert as_written(as_shown(own), own) == own
    assert as_shown(own) is own


@pytest.mark.parametrize(
    ("column", "typed", "written"),
    [
        ("tool_depth_in", "36", "36 cm"),
        ("tool_depth_in", "14", "14 cm"),
        ("tool_depth_in", "14 in", "14 in"),
        ("tool_depth_in", "seven", "seven"),
        ("shanks_at_in", "-56; 20 in", "-56 cm; 20 in"),
        ("layers", "disk 15; A/B 33", "disk 15 cm; A/B 33 cm"),
        ("scale", "card", "card"),
        ("calipers", "3 mm/2 mm at 18", "3 mm/2 mm at 18 cm"),
        ("calipers", "3.1/2.0 mm at 18; 3 x 2 mm @18", "3.1 mm/2.0 mm at 18 cm; 3 mm x 2 mm @18 cm"),
        ("notes", "dug to 14", "dug to 14"),
    ],
)
def test_bare_numbers_typed_at_a_desk_in_centimetres_are_written_as_such(
    column: str, typed: str, written: str
) -> None:
    own = sheet_of_one(column, "14" if column.endswith("_in") else "")
    with lengths_shown_in("cm"):
        assert as_written(sheet_of_one(column, typed), own) == sheet_of_one(column, written)
    assert as_written(sheet_of_one(column, typed), own) == sheet_of_one(column, typed)
    if typed != "seven":
        COLUMNS[column](written)


@pytest.mark.parametrize(
    ("column", "own", "typed", "written"),
    [
        ("calipers", "0.04/0.03; 1/7", "0.1016 cm/0.09; 2.54 cm/17.78 cm", "0.04 in/0.09 cm; 1/7"),
        ("calipers", "0.04/0.03", "0.1016 cm/0.09 cm", "0.04 in/0.09 cm"),
        ("layers", "disk 6; A/B 13 1/3", "crust 2;  A/B 33.8667 cm", "crust 2 cm;  A/B 13 1/3"),
        ("layers", "A 1/2", "A 2 1.27 cm", "A 2 1.27 cm"),
        ("shanks_at_in", "-22; 8", "-55.88 cm; 20.32 cm; 70", "-22; 8; 70 cm"),
    ],
)
def test_the_parts_of_a_cell_that_are_left_alone_stay_as_they_were_written(
    column: str, own: str, typed: str, written: str
) -> None:
    with lengths_shown_in("cm"):
        changed = as_written(sheet_of_one(column, typed), sheet_of_one(column, own))
    assert changed == sheet_of_one(column, written)


def test_a_fault_of_a_typed_length_names_the_unit_of_the_desk() -> None:
    with lengths_shown_in("cm"):
        assert said_of_typed(f"That is wrong. {REMEDY}").endswith("a bare number is centimetres.")
    assert said_of_typed(REMEDY) == REMEDY


@pytest.mark.parametrize(
    ("column", "cell", "examples"),
    [
        ("scale", "points:1", ["card:2.0 in", "staff:1.0 in", "tape:0.125 in"]),
        ("layers", "disk", ["disk 6 in; A/B 13 in"]),
        ("calipers", "3 mm", ["3.1 mm/2.0 mm at 7 in"]),
    ],
)
def test_the_examples_of_a_fault_mean_the_same_at_either_desk(
    column: str, cell: str, examples: list[str]
) -> None:
    with pytest.raises(BadSheet) as fault:
        COLUMNS[column](cell)
    for example in examples:
        assert example in fault.value.remedy
        with lengths_shown_in("cm"):
            typed = sheet_of_one(column, example)
            assert as_written(typed, sheet_of_one(column, "")) == typed
        assert COLUMNS[column](example)


def test_the_sheet_is_read_from_the_disk_again_only_once_it_has_changed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_bare_photo(tmp_path / "north.jpg")
    sheet = tmp_path / "sheet.csv"
    sheet.write_text("photo,treatment\nnorth.jpg,none\n", encoding="utf-8")
    desk = Desk(tmp_path)
    reads = 0

    def counted(path: Path) -> tuple[list[str], list[list[str]]]:
        nonlocal reads
        reads += 1
        return sheet_cells(path)

    monkeypatch.setattr("rootread.desk.folder.sheet_cells", counted)
    for _ in range(3):
        assert desk.sheet_faults(desk.sheet()) == []
    assert reads == 1
    sheet.write_text("photo,treatment\nnorth.jpg,deep pass\n", encoding="utf-8")
    assert cells(desk.sheet())["north.jpg"] == {"treatment": "deep pass"}
    assert reads == 2
    sheet.unlink()
    assert cells(desk.sheet()) == {"north.jpg": {}}
    sheet.write_text("photo;treatment\nnorth.jpg;disk\n", encoding="utf-8")
    assert cells(desk.sheet())["north.jpg"] == {"treatment": "disk"}


def test_two_rows_with_one_wall_name_are_told_by_their_photos() -> None:
    """On the page rows have no numbers."""
    (fault,) = cell_faults(Sheet(("photo", "wall"), (("a.jpg", "N"), ("b.jpg", ""), ("c.jpg", "n"))))
    assert (fault["row"], fault["column"], fault["says"]) == (2, "wall", "a.jpg has the same wall.")
    (fault,) = cell_faults(Sheet(("photo", "wall"), (("a.jpg", "N"), ("A.JPG", "S"))))
    assert (fault["row"], fault["says"]) == (1, "Another row has the same photo.")

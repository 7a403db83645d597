"""What a person wrote about each wall arrives as they meant it, or they are told which cell to mend."""

from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rootread.errors import BadRequest, BadSheet
from rootread.fieldsheet import (
    COLUMNS,
    RecordedLayer,
    SheetRow,
    alike_names,
    default_row,
    match_photos,
    read_sheet,
)

REPOSITORY = Path(__file__).parents[1]
FULL = (
    "photo,wall,pit,treatment,date,crop,stage,scale,layers,tool_depth_in,shank_spacing_in,shanks_at_in,"
    "pit_depth_in,notes,standoff_in,level,lens\n"
    "IMG_1.jpg,north,pit 1,deep pass,2026-07-09,corn,V9,card:2.5,point 14; disk 6.0; A/B 33 cm,14,24.5,"
    '8; -22,40,"wet, and late",2.5 cm,surface,phone\n'
)


@pytest.fixture
def sheet(tmp_path: Path) -> Callable[[str | bytes], tuple[SheetRow, ...]]:
    def read(content: str | bytes) -> tuple[SheetRow, ...]:
        path = tmp_path / "sheet.csv"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return read_sheet(path)

    return read


def test_a_full_row_arrives_as_written(sheet):
    (row,) = sheet(FULL)
    assert row == SheetRow(
        photo="IMG_1.jpg",
        wall="north",
        pit="pit 1",
        treatment="deep pass",
        date="2026-07-09",
        crop="corn",
        stage="V9",
        scale="card",
        scale_unit_in=2.5,
        layers=(
            RecordedLayer("disk", 6.0),
            RecordedLayer("A/B", pytest.approx(33 / 2.54)),
            RecordedLayer("point", 14.0),
        ),
        tool_depth_in=14.0,
        shank_spacing_in=24.5,
        shanks_at_in=(-22.0, 8.0),
        pit_depth_in=40.0,
        notes="wet, and late",
        standoff_in=pytest.approx(2.5 / 2.54),
        level="surface",
        lens="phone",
        row=2,
    )


def test_a_sheet_of_photo_names_alone_is_enough(sheet):
    assert sheet("photo\nIMG_1.jpg\nIMG_2.jpg\n") == (
        SheetRow(photo="IMG_1.jpg", wall="IMG_1", row=2),
        SheetRow(photo="IMG_2.jpg", wall="IMG_2", row=3),
    )


def test_blank_cells_blank_rows_and_blank_columns_are_allowed(sheet):
    rows = sheet("photo,wall,scale,layers,,\nIMG_1.jpg,,,,,\n,,,,,\nIMG_2.jpg\n\n")
    assert [(row.photo, row.wall, row.scale, row.layers, row.row) for row in rows] == [
        ("IMG_1.jpg", "IMG_1", "auto", (), 2),
        ("IMG_2.jpg", "IMG_2", "auto", (), 4),
    ]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_any_spreadsheets_csv_reads_the_same(sheet, encoding, separator, line_end):
    cells = (
        ["photo", "treatment", "layers", "tool_depth_in"],
        ["é1.jpg", "½ depth", '"disk 6; A/B 13"', "13 1/2"],
    )
    text = line_end.join(separator.join(row) for row in cells) + line_end
    (row,) = sheet(text.encode(encoding))
    assert (row.photo, row.treatment, row.tool_depth_in) == ("é1.jpg", "½ depth", 13.5)
    assert row.layers == (RecordedLayer("disk", 6.0), RecordedLayer("A/B", 13.0))


def test_layers_that_fall_into_two_cells_are_told_to_need_quotes(sheet):
    bare = "photo;layers;tool_depth_in\na.jpg;disk 19 cm; A/B 31 cm;19 cm\n"
    with pytest.raises(BadSheet, match=r"row 2, tool_depth_in: 'A/B 31 cm' is not a length.*in quotes"):
        sheet(bare)
    (row,) = sheet(bare.replace("disk 19 cm; A/B 31 cm", '"disk 19 cm; A/B 31 cm"'))
    assert [layer.name for layer in row.layers] == ["disk", "A/B"]


def test_a_decimal_comma_reads_where_semicolons_separate(sheet):
    (row,) = sheet("photo;tool_depth_in;pit_depth_in\na.jpg;35,5 cm;1,05 m\n")
    assert row.tool_depth_in == pytest.approx(35.5 / 2.54)
    assert row.pit_depth_in == pytest.approx(105 / 2.54)


def test_headers_may_be_written_as_words(sheet):
    (row,) = sheet("Photo,Tool depth in, SHANKS-AT-IN \na.jpg,14,3\n")
    assert (row.tool_depth_in, row.shanks_at_in) == (14.0, (3.0,))


@pytest.mark.parametrize(
    ("cell", "layers"),
    [
        ("disk 6.0; A/B 13.0; point 14.0", [("disk", 6), ("A/B", 13), ("point", 14)]),
        ("Bt1 13 1/2 in", [("Bt1", 13.5)]),
        ("layer 2 13.0 in", [("layer 2", 13)]),
        ("old plow pan: 1 ft 2 in;", [("old plow pan", 14)]),
        ('pan 6"', [("pan", 6)]),
        ("disk at 7½; Ap1 / Bt @ 12 ¾ in", [("disk", 7.5), ("Ap1 / Bt", 12.75)]),
        ("none", []),
    ],
)
def test_layers_are_names_with_depths(sheet, cell, layers):
    quoted = cell.replace('"', '""')
    (row,) = sheet(f'photo,layers\na.jpg,"{quoted}"\n')
    assert row.layers == tuple(RecordedLayer(*layer) for layer in layers)


@given(
    depths=st.lists(st.integers(1, 400), min_size=1, max_size=6),
    name=st.from_regex(r"[A-Za-z/][A-Za-z0-9/]{0,8}", fullmatch=True),
)
def test_any_recorded_layers_come_back_by_depth(tmp_path_factory, depths, name):
    path = tmp_path_factory.mktemp("sheet") / "sheet.csv"
    cell = "; ".join(f"{name} {depth / 10}" for depth in depths)
    path.write_text(f"photo,layers\na.jpg,{cell}\n")
    assert [layer.depth_in for layer in read_sheet(path)[0].layers] == sorted(depth / 10 for depth in depths)


@pytest.mark.parametrize(
    ("cell", "scale", "unit"),
    [
        ("Card", "card", None),
        ("staff:1.0", "staff", 1.0),
        ("card: 50 mm", "card", 50 / 25.4),
        ("tape", "tape", None),
        ("tape:1 mm", "tape", 1 / 25.4),
    ],
)
def test_the_scale_object_may_state_its_own_length(sheet, cell, scale, unit):
    (row,) = sheet(f"photo,scale\na.jpg,{cell}\n")
    assert row.scale == scale
    assert row.scale_unit_in == (None if unit is None else pytest.approx(unit))


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("photo,tool_dept_in\na.jpg,14\n", "column 2, 'tool_dept_in'.*Did you mean tool_depth_in?"),
        ("photo,tool_depth_cm\na.jpg,36\n", "Did you mean tool_depth_in\\? A unit stands in the cell"),
        ("photo,zzzz\na.jpg,14\n", "column 2, 'zzzz'.*Known: photo, wall"),
        ("wall\nnorth\n", "no column photo"),
        ("photo,pit,pit\na.jpg,1,2\n", "two columns pit"),
        ("photo,scale\na.jpg,crad\n", "row 2, scale: 'crad'.*Did you mean card?"),
        ("photo,scale\na.jpg,points:1\n", "row 2, scale: points takes no length"),
        ("photo,scale\na.jpg,card:0\n", "row 2, scale: '0' is not above 0"),
        ("photo,level\na.jpg,surfce\n", "row 2, level: .*Did you mean surface?"),
        ("photo,layers\na.jpg,\nb.jpg,disk\n", "row 3, layers: 'disk' is not a layer"),
        ("photo,layers\na.jpg,disk -6\n", "row 2, layers: 'disk -6' is not a layer"),
        ("photo,tool_depth_in\na.jpg,deep\n", "row 2, tool_depth_in: 'deep' is not a length"),
        ("photo,pit_depth_in\na.jpg,-3\n", "row 2, pit_depth_in: '-3' is not above 0"),
        ("photo,standoff_in\na.jpg,-1\n", "row 2, standoff_in: '-1' is below 0"),
        ("photo,shanks_at_in\na.jpg,-22 8\n", "row 2, shanks_at_in: .*more than one length"),
        ("photo,shanks_at_in\na.jpg,-22,8\n", "row 2 has '8' under no column"),
        ("photo,pit\n,1\n", "row 2, photo: it is blank"),
        ("photo\nwalls/a.jpg\n", "row 2, photo: 'walls/a.jpg' names a folder"),
        ("photo,wall\na.jpg,A/B\n", "row 2, wall: 'A/B' cannot name files"),
        ("photo\na.jpg\nb.jpg\nA.JPG\n", "rows 2 and 4 have the same photo"),
        ("photo,wall\na.jpg,n\nb.jpg,\nc.jpg,B\n", "rows 3 and 4 have the same wall"),
        ('photo,notes\na.jpg,"wet\n', "not a table"),
        ("", "empty"),
        ("\n\n", "empty"),
        (b"photo\n\x81\x8d.jpg\n", "not text"),
    ],
)
def test_a_mistake_is_named_with_its_row_and_column(sheet, content, said):
    with pytest.raises(BadSheet, match=said) as refused:
        sheet(content)
    assert refused.value.remedy


def told(error: BadSheet) -> list[str]:
    return [str(fault) for fault in (error, *error.others)]


def test_all_mistakes_of_the_head_are_told_at_once(sheet):
    with pytest.raises(BadSheet) as refused:
        sheet("photo,treatmnt,tool_depth\na.jpg,deep,14\n")
    assert told(refused.value) == [
        "sheet.csv: column 2, 'treatmnt', is not a column of the sheet. Did you mean treatment?",
        "sheet.csv: column 3, 'tool_depth', is not a column of the sheet. Did you mean tool_depth_in?",
    ]


def test_all_cells_that_cannot_be_understood_are_told_at_once_a_line_each(sheet):
    with pytest.raises(BadSheet) as refused:
        sheet("photo,scale,tool_depth_in\na.jpg,crad,deep\nb.jpg,card,14\n,card,-3\n")
    assert [line.split(":")[1].strip() for line in told(refused.value)] == [
        "row 2, scale",
        "row 2, tool_depth_in",
        "row 4, tool_depth_in",
        "row 4, photo",
    ]


def test_of_a_sheet_full_of_mistakes_the_first_are_told_and_how_many_more_there_are(sheet):
    with pytest.raises(BadSheet) as refused:
        sheet("photo,tool_depth_in\n" + "".join(f"{number}.jpg,deep\n" for number in range(300)))
    *first, last = told(refused.value)
    assert len(first) == 20 and last.startswith("sheet.csv: 280 more such faults.")


def test_a_missing_sheet_is_refused(tmp_path):
    with pytest.raises(BadSheet, match="cannot be opened"):
        read_sheet(tmp_path / "none.csv")


def test_the_sample_sheet_reads():
    rows = read_sheet(REPOSITORY / "sample_images" / "sheet.csv")
    assert len(rows) == 6
    assert rows[4].shanks_at_in == (4.6, 29.1)
    assert rows[4].scale == "staff"
    assert rows[0].layers[-1] == RecordedLayer("point", 14.0)


def test_the_blank_sheet_has_every_column_and_reads_once_a_photo_is_filled_in(sheet):
    blank = (REPOSITORY / "shared" / "field-sheet.csv").read_text()
    assert blank.strip().split(",") == list(COLUMNS)
    assert sheet(blank + "a.jpg\n") == (SheetRow(photo="a.jpg", wall="a", row=2),)


# --- rows and photos -------------------------------------------------------------------------------


def photos(*names: str) -> list[Path]:
    return [Path("pit") / name for name in names]


def test_without_a_sheet_each_photo_is_a_wall_of_its_own_name():
    matched = match_photos((), photos("a.jpg", "b.heic"))
    assert [row for _, row in matched.pairs] == [default_row("a.jpg"), default_row("b.heic")]
    assert [row.wall for _, row in matched.pairs] == ["a", "b"]
    assert matched.messages == ()


def test_each_photo_gets_its_row_whatever_the_order_case_or_ending(sheet):
    rows = sheet("photo,pit\nIMG_2,two\nimg_1.JPG,one\n")
    matched = match_photos(rows, photos("IMG_1.jpg", "IMG_2.HEIC"))
    assert [(photo.name, row.pit) for photo, row in matched.pairs] == [
        ("IMG_1.jpg", "one"),
        ("IMG_2.HEIC", "two"),
    ]
    assert matched.messages == ()


def test_rows_without_a_photo_and_photos_without_a_row_are_told(sheet):
    rows = sheet("photo,pit\nIMG_1.jpg,one\nIMG_22.jpg,two\n")
    matched = match_photos(rows, photos("IMG_1.jpg", "IMG_2.jpg"))
    assert [row.pit for _, row in matched.pairs] == ["one", ""]
    assert matched.messages == (
        "sheet.csv: row 3: there is no photo IMG_22.jpg in the folder. Did you mean IMG_2.jpg?",
        "sheet.csv: there is no row for IMG_2.jpg; it is read without one.",
    )


def test_a_row_without_a_photo_is_not_said_to_mean_a_photo_that_has_its_own_row(sheet):
    rows = sheet("photo\nIMG_1.jpg\nIMG_2.jpg\n")
    assert match_photos(rows, photos("IMG_1.jpg")).messages == (
        "sheet.csv: row 3: there is no photo IMG_2.jpg in the folder.",
    )


def test_a_photo_is_not_meant_by_a_row_for_the_ending_they_share(sheet):
    rows = sheet("photo\ngone.jpg\n")
    assert match_photos(rows, photos("broken.jpg")).messages == (
        "sheet.csv: row 2: there is no photo gone.jpg in the folder.",
        "sheet.csv: there is no row for broken.jpg; it is read without one.",
    )


def test_names_that_differ_only_in_how_they_are_written_are_asked_about(sheet):
    rows = sheet(
        "photo,pit,treatment\n"
        "a.jpg,Pit 2,deep pass\nb.jpg,pit2,Deep  Pass\nc.jpg,pit 3,deep-pass\nd.jpg,pit 4,deep\ne.jpg,-,\n"
    )
    assert [alike.words for alike in alike_names(rows)] == [
        "Pit 2 and pit2 differ only in capitals, spaces or hyphens: one pit?",
        "deep pass, Deep Pass and deep-pass differ only in capitals, spaces or hyphens: one treatment?",
    ]


def test_a_misspelt_treatment_is_another_treatment(sheet):
    assert alike_names(sheet("photo,treatment\na.jpg,deep pass\nb.jpg,deep past\n")) == ()


def test_pits_whose_numbers_are_parted_elsewhere_are_not_alike(sheet):
    assert alike_names(sheet("photo,pit\na.jpg,1-11\nb.jpg,11-1\nc.jpg,111\n")) == ()


def test_several_rows_without_photos_are_told_in_one_sentence_no_photo_for_two_of_them(sheet):
    rows = sheet("photo\nIMG_1.jpg\nIMG_21.jpg\nIMG_22.jpg\n")
    assert match_photos(rows, photos("IMG_1.jpg", "IMG_2.jpg"), sheet="pit/sheet.csv").messages == (
        "pit/sheet.csv: 2 rows have no photo in the folder: "
        "row 3 IMG_21.jpg (perhaps IMG_2.jpg) and row 4 IMG_22.jpg.",
        "pit/sheet.csv: there is no row for IMG_2.jpg; it is read without one.",
    )


def test_a_sheet_of_another_folder_is_told_in_two_sentences(sheet):
    rows = sheet("photo\n" + "".join(f"north-{number}.jpg\n" for number in range(300)))
    lacking, unlisted = match_photos(rows, photos(*(f"{number}.tif" for number in range(200)))).messages
    assert lacking.startswith("sheet.csv: 300 rows have no photo in the folder: row 2 north-0.jpg")
    assert lacking.endswith("and 295 more.")
    assert unlisted.endswith("4.tif and 195 more; they are read without one.")


def test_accents_match_however_the_file_system_spells_them(sheet):
    rows = sheet("photo,pit\ncafe\u0301.jpg,one\n")
    assert match_photos(rows, photos("caf\u00e9.jpg")).pairs[0][1].pit == "one"


@pytest.mark.parametrize(
    ("content", "names", "said"),
    [
        ("", ("a.jpg", "a.heic"), "a.jpg and a.heic would both be wall a"),
        ("photo,wall\na.jpg,b\n", ("a.jpg", "b.jpg"), "a.jpg and b.jpg would both be wall b"),
        ("photo\na\n", ("a.jpg", "a.heic"), "sheet.csv: row 2: a could be a.jpg or a.heic"),
        ("photo,wall\na,one\na.jpg,two\n", ("a.jpg",), "sheet.csv: rows 2 and 3 both speak of a.jpg"),
    ],
)
def test_what_could_be_two_walls_is_refused(sheet, content, names, said):
    rows = sheet(content) if content else ()
    with pytest.raises(BadSheet, match=said):
        match_photos(rows, photos(*names))


@pytest.mark.parametrize(
    "content",
    [
        "",
        "a,b\n",
        "photo,photo\n",
        "photo\na,b\n",
        "photo,layers\na,x\n",
        "photo\na\na\n",
        'photo\n"a',
        b"\xff\xfea",
    ],
)
def test_of_several_sheets_an_error_says_which(tmp_path, content):
    path = tmp_path / "sheet.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    with pytest.raises(BadSheet, match=r"^pit 3/sheet\.csv: "):
        read_sheet(path, "pit 3/sheet.csv")
    with pytest.raises(BadSheet, match=r"^sheet\.csv: "):
        read_sheet(path)
    with pytest.raises(BadSheet, match=r"^pit 3/sheet\.csv: cannot be opened"):
        read_sheet(tmp_path / "gone.csv", "pit 3/sheet.csv")


def test_photos_of_several_folders_are_told_with_their_folders():
    here, other = Path("1/a.jpg"), Path("2/b.jpg")
    rows = [SheetRow(photo="a.jpg", wall="a", row=2), SheetRow(photo="a", wall="b", row=3)]
    with pytest.raises(BadSheet, match=r"both speak of 1/a\.jpg"):
        match_photos(rows, [here], {here: "1"})
    rows = [SheetRow(photo="a.jpg", wall="north", row=2), SheetRow(photo="b.jpg", wall="north", row=3)]
    with pytest.raises(BadSheet, match=r"1/a\.jpg and 2/b\.jpg would both be wall north"):
        match_photos(rows, [here, other], {here: "1", other: "2"})


@pytest.mark.parametrize("cell", ["1e308", "5 km", "9" * 5000, "40 m"])
def test_a_depth_that_no_wall_has_is_refused(cell):
    with pytest.raises(BadRequest):
        COLUMNS["tool_depth_in"](cell)
    with pytest.raises(BadRequest):
        COLUMNS["shanks_at_in"](f"6; -{cell}")


@pytest.mark.parametrize(
    "cell",
    [
        "disk 6, A/B 13",
        "disk 6 in, A/B 13 in",
        'disk 6", A/B 13"',
        "disk 15cm , pan 20",
        "disk 6 / A/B 13",
        "disk 6 in and pan 13 in",
        "disk 6.5 + pan 13",
    ],
)
def test_layers_with_anything_but_a_semicolon_between_are_not_taken_for_one(cell):
    """The first depth would be lost without a word."""
    with pytest.raises(BadSheet, match="semicolons between"):
        COLUMNS["layers"](cell)


def test_a_layer_may_have_a_comma_in_its_name_and_in_its_depth():
    (layer,) = COLUMNS["layers"]("disk, heavy 6,5")
    assert (layer.name, layer.depth_in) == ("disk, heavy", 6.5)


def test_what_people_write_for_nothing_is_blank_where_lengths_stand_and_a_word_elsewhere(sheet):
    (row,) = sheet("photo,treatment,layers,tool_depth_in,shanks_at_in,calipers\na.jpg,none,-,n/a,None,–\n")
    assert (row.treatment, row.layers, row.tool_depth_in) == ("none", (), None)
    assert (row.shanks_at_in, row.calipers) == ((), ())


def test_shanks_with_commas_between_are_told_of_semicolons():
    with pytest.raises(BadSheet) as refused:
        COLUMNS["shanks_at_in"]("-22, 8")
    assert "semicolons between: -22; 8" in refused.value.remedy


def test_a_column_that_resembles_none_is_told_all_columns(sheet):
    with pytest.raises(BadSheet, match=r"'file', is not a column of the sheet\. Known: photo, wall"):
        sheet("file,treatment\na.jpg,deep\n")

"""A season's folders read in one go, and the tables in whatever unit and form they are wanted."""

import io
from dataclasses import replace

import pandas as pd
import pytest
from report_walls import empty_wall, open_wall, refused_wall, turned_wall

from rootread.compare import read_season, write_season
from rootread.compare.season import season_columns
from rootread.errors import BadRequest
from rootread.report import rows_of, table_csv
from rootread.report.parquet import ParquetFile
from rootread.schema import TABLES

MM_PER_INCH = 25.4
"""International yard and pound agreement, 1959."""
A_THOUSANDTH = 0.001


def graded(folder, *walls):
    folder.mkdir()
    for name in TABLES:
        rows = [row for wall in walls for row in rows_of(wall)[name]]
        (folder / f"{name}.csv").write_text(table_csv(name, rows), encoding="utf-8")
    return folder


@pytest.fixture
def folders(tmp_path):
    return [
        graded(tmp_path / "north", turned_wall(), refused_wall()),
        graded(tmp_path / "south", open_wall(treatment="=deep"), empty_wall(), turned_wall()),
    ]


def test_a_season_is_all_its_folders_and_knows_which_a_row_is_from(folders):
    season = read_season(folders)
    assert season.walls[["folder", "wall"]].to_numpy().tolist() == [
        [str(folders[0]), "turned"],
        [str(folders[0]), "lost"],
        [str(folders[1]), "open"],
        [str(folders[1]), "bare"],
        [str(folders[1]), "turned"],
    ]
    assert len(season.roots) == 8 + 6 + 8 and len(season.layers) == 2
    for name in TABLES:
        assert list(getattr(season, name)) == ["folder", *(column.name for column in TABLES[name])]


def test_a_folder_named_twice_counts_once(folders):
    assert len(read_season([folders[0], folders[0]]).walls) == 2


def test_whole_numbers_stay_whole_though_a_refused_wall_has_none(folders):
    assert str(read_season(folders).walls["roots"].dtype) == "Int64"


def test_in_centimetres_every_length_and_its_column_are_so(folders):
    inches, centimetres = read_season(folders), read_season(folders, "cm")
    for name in TABLES:
        assert not any(name_.endswith("_in") for name_ in getattr(centimetres, name))
    length_cm = inches.roots["length_in"] * MM_PER_INCH / 10
    assert centimetres.roots["length_cm"].to_numpy() == pytest.approx(length_cm, abs=A_THOUSANDTH / 2 + 1e-9)
    # An inch shows as many pixels in either unit.
    by_inch, by_cm = inches.walls["px_per_in"][0], centimetres.walls["px_per_cm"][0]
    assert by_cm * MM_PER_INCH / 10 == pytest.approx(by_inch, abs=A_THOUSANDTH / 2)
    assert (centimetres.roots["tortuosity"] == inches.roots["tortuosity"]).all()
    columns = {column.name: column for column in season_columns("walls", "cm")}
    assert columns["px_per_cm_se"].unit == "px/cm"
    assert columns["px_per_cm_se"].meaning == "standard error of px_per_cm"


def test_a_table_in_centimetres_has_no_idle_digits_and_gives_the_inches_back(folders, tmp_path):
    inches = read_season(folders)
    write_season(read_season(folders, "cm"), tmp_path)
    for name in TABLES:
        cells = pd.read_csv(tmp_path / f"{name}.csv", dtype=str, keep_default_na=False)
        for inch, cm in zip(season_columns(name), season_columns(name, "cm"), strict=True):
            if inch.name == cm.name:
                continue
            digits = cells[cm.name].str.extract(r"\.(\d+)$")[0].str.len().max()
            assert not digits > (3 if cm.unit == "cm" else 4), cm.name
            per_cm = 10 / MM_PER_INCH if cm.unit == "cm" else MM_PER_INCH / 10
            back = (pd.to_numeric(cells[cm.name], errors="coerce") * per_cm).round(3)
            assert back.to_numpy() == pytest.approx(getattr(inches, name)[inch.name], nan_ok=True, abs=1e-9)


@pytest.mark.parametrize("units", ["in", "cm"])
def test_csv_and_parquet_say_the_same(folders, units, tmp_path):
    pytest.importorskip("pyarrow")
    season = read_season(folders, units)
    assert [path.name for path in write_season(season, tmp_path / "all")] == [f"{n}.csv" for n in TABLES]
    write_season(season, tmp_path / "all", parquet=True)
    for name in TABLES:
        typed = pd.read_parquet(tmp_path / "all" / f"{name}.parquet")
        table = pd.read_csv(tmp_path / "all" / f"{name}.csv", keep_default_na=False, na_values={})
        assert list(typed) == list(table) and len(typed) == len(table) == len(getattr(season, name))
    length = pd.read_parquet(tmp_path / "all" / "roots.parquet")[f"length_{units}"]
    assert length.to_numpy() == pytest.approx(season.roots[f"length_{units}"].to_numpy())


def test_text_that_a_spreadsheet_would_run_is_text_in_csv_and_itself_in_parquet(folders, tmp_path):
    pytest.importorskip("pyarrow")
    season = read_season(folders)
    assert season.walls["treatment"][2] == "=deep"
    write_season(season, tmp_path)
    write_season(season, tmp_path, parquet=True)
    assert ",'=deep," in (tmp_path / "walls.csv").read_text(encoding="utf-8")
    assert pd.read_parquet(tmp_path / "walls.parquet")["treatment"][2] == "=deep"


def test_parquet_columns_carry_their_type_unit_and_meaning_also_without_rows():
    parquet = pytest.importorskip("pyarrow.parquet")
    for walls in ([turned_wall(), refused_wall()], []):
        file = io.BytesIO()
        growing = ParquetFile(file, TABLES["walls"])
        for wall in walls:
            growing.add(rows_of(wall)["walls"])
        growing.close()
        schema = parquet.read_schema(io.BytesIO(file.getvalue()))
        assert schema.names == [column.name for column in TABLES["walls"]]
        assert schema.field("px_per_in").metadata[b"unit"] == b"px/in"
        assert schema.field("grade").metadata[b"meaning"] == b"the wall's grade"
        assert str(schema.field("roots").type) == "int64"
        assert parquet.read_table(io.BytesIO(file.getvalue())).num_rows == len(walls)


def test_parquet_rows_are_written_in_groups_and_none_is_lost(monkeypatch):
    parquet = pytest.importorskip("pyarrow.parquet")
    monkeypatch.setattr("rootread.report.parquet.ROWS_AT_ONCE", 5)
    file = io.BytesIO()
    growing = ParquetFile(file, TABLES["roots"])
    growing.add(rows_of(turned_wall())["roots"])
    growing.add(rows_of(open_wall())["roots"])
    growing.close()
    table = parquet.read_table(io.BytesIO(file.getvalue()))
    assert table["wall"].to_pylist() == ["turned"] * 8 + ["open"] * 6


def test_a_folder_that_was_not_graded_is_a_wrong_request(tmp_path):
    with pytest.raises(BadRequest, match=r"walls\.csv is missing"):
        read_season([tmp_path])


def test_a_season_does_not_change_what_it_was_read_from(folders):
    before = [(folder / "walls.csv").read_bytes() for folder in folders]
    season = read_season(folders, "cm")
    assert replace(season).units == "cm"
    assert [(folder / "walls.csv").read_bytes() for folder in folders] == before


def test_rows_with_more_cells_than_columns_are_refused_not_cut(folders):
    path = folders[0] / "walls.csv"
    header, *rows = path.read_text(encoding="utf-8").splitlines()
    path.write_text("\n".join([header, *(f"{row},5" for row in rows)]), encoding="utf-8")
    with pytest.raises(BadRequest, match=r"walls\.csv (is no table|has rows with more cells)"):
        read_season(folders)

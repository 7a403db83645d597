"""Lens profiles: measured from drawn chessboards with a known lens, kept in files, found again."""

import json
import shutil
from dataclasses import asdict, replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from drawn_walls import BLACK, WHITE, DrawnCamera, card_face, hung, photograph, scale_error, soil_wall
from PIL import Image
from PIL.ExifTags import IFD, Base
from typer.testing import CliRunner

from rootread.batch import grade_walls, plan_walls
from rootread.cli import app
from rootread.errors import BadRequest, BadSheet
from rootread.fieldsheet import SheetRow
from rootread.plane import find_plane
from rootread.plane.lens import LensProfile, lens_for, read_profile, write_profile
from rootread.plane.lens_measure import measure_lens
from rootread.plane.types import Lens
from rootread.report.lens_picture import draw_lens, lens_words
from rootread.settings import PlaneSettings, Settings

FOCAL_TOLERANCE = 0.01
"""Relative."""
CORNER_TOLERANCE_PX = 1.0
"""Distortion near the picture's corners."""
RESIDUAL_PX = 0.2

K1 = -0.08
CAMERA = DrawnCamera((800, 600), 640.0, k1=K1, distance_in=13.0, aim_in=(0.0, 0.0))
VIEWS = [(0, 0, 0), (25, 5, 2), (-25, 0, -5), (3, 25, 0), (0, -25, 8), (18, 18, -12), (-18, 15, 30)]


def chessboard(x, z):
    """Ten by seven squares of an inch: nine by six inner corners; white around."""
    dark = (np.floor(x) + np.floor(z)) % 2 == 0
    inside = (np.abs(x) < 5.0) & (np.abs(z + 0.5) < 3.5)
    return np.where((dark & inside)[..., None], BLACK, WHITE)


@pytest.fixture(scope="module")
def boards(tmp_path_factory):
    folder = tmp_path_factory.mktemp("phone")
    for number, (yaw, pitch, roll) in enumerate(VIEWS):
        camera = replace(CAMERA, yaw_deg=yaw, pitch_deg=pitch, roll_deg=roll)
        photo = photograph(camera, chessboard)
        cv2.imwrite(str(folder / f"{number}.png"), photo.rgb[..., ::-1])
    return folder


@pytest.fixture(scope="module")
def measured(boards):
    return measure_lens(boards)


def test_focal_length_and_distortion_of_a_drawn_camera_are_measured(measured):
    lens = measured.profile.lens
    assert measured.profile.photos == len(VIEWS)
    assert measured.profile.residual_px < RESIDUAL_PX
    assert lens.fx == pytest.approx(CAMERA.focal_px, rel=FOCAL_TOLERANCE)
    corners = np.array([[60.0, 60.0], [740.0, 60.0], [740.0, 540.0], [60.0, 540.0]])
    drawn = Lens(CAMERA.focal_px, CAMERA.focal_px, 399.5, 299.5, k1=K1)
    assert np.abs(lens.undistort(corners) - drawn.undistort(corners)).max() < CORNER_TOLERANCE_PX


def red_length_px(picture):
    """Pixels of strong red: the mean remainders."""
    return int(np.sum((picture[..., 0] > 150) & (picture[..., 1] < 90)))


def test_the_picture_of_a_lens_shows_distortion_that_was_not_undone(measured):
    picture = draw_lens(measured)
    assert picture.shape[1] == 1200
    # The same places against a lens that leaves 2 px of barrel in the corners.
    straight = Lens(CAMERA.focal_px, CAMERA.focal_px, 399.5, 299.5, k1=0.02)
    bent = replace(measured, fitted_px=tuple(straight.distort(places) for places in measured.fitted_px))
    assert red_length_px(draw_lens(bent)) > 3 * red_length_px(picture)


def test_a_board_that_does_not_reach_the_corners_is_said_to_be_so(measured):
    # The boards here fill the middle half.
    assert "add photos" in lens_words(measured)
    outward = tuple(400 + 1.8 * (places - 400) for places in measured.found_px)
    assert "add photos" not in lens_words(replace(measured, found_px=outward))


def test_photos_of_two_cameras_are_not_mixed(boards, tmp_path):
    for number in range(5):
        picture = Image.open(boards / f"{number}.png").convert("RGB")
        exif = picture.getexif()
        exif[Base.Model] = "one" if number else "other"
        picture.save(tmp_path / f"{number}.jpg", quality=95, exif=exif)
    with pytest.raises(BadRequest, match="different cameras"):
        measure_lens(tmp_path)


def test_cards_serve_where_there_is_no_chessboard(tmp_path):
    for number, (yaw, pitch, roll) in enumerate(VIEWS[:5]):
        camera = replace(
            CAMERA, size_px=(760, 570), focal_px=608.0, yaw_deg=yaw, pitch_deg=pitch, roll_deg=roll, k1=-0.05
        )
        photo = photograph(camera, hung(soil_wall(lambda x: -99 + 0 * x), card_face(), (0.0, 0.0)))
        cv2.imwrite(str(tmp_path / f"{number}.png"), photo.rgb[..., ::-1])
    profile = measure_lens(tmp_path).profile
    assert profile.photos == 5
    assert profile.lens.fx == pytest.approx(608.0, rel=0.03)
    assert profile.lens.k1 == pytest.approx(-0.05, abs=0.03)


def test_too_few_photos_are_asked_for_more(boards, tmp_path):
    shutil.copy(boards / "0.png", tmp_path / "0.png")
    with pytest.raises(BadRequest, match="1 of 1 photos"):
        measure_lens(tmp_path)


def profile(camera: str = "Some Phone") -> LensProfile:
    lens = Lens(3000.0, 3010.0, 2010.0, 1490.0, 0.02, -0.01, 0.001, -0.0005)
    return LensProfile("phone", camera, (4000, 3000), lens, 0.21, 12)


def test_a_profile_is_the_same_after_writing_and_reading(tmp_path):
    write_profile(profile(), tmp_path / "phone.toml")
    assert read_profile(tmp_path / "phone.toml") == profile()


def test_a_profile_serves_photos_of_half_the_size_but_not_of_another_shape():
    half = profile().at_size((2000, 1500))
    assert half is not None
    assert half.fx == pytest.approx(1500.0)
    # The same place of the scene, as pixel centres are counted.
    assert half.cx == pytest.approx((2010.0 + 0.5) / 2 - 0.5)
    assert profile().at_size((4000, 2250)) is None


def test_a_profile_serves_upright_photos_too():
    upright = profile().at_size((3000, 4000))
    assert upright is not None
    assert (upright.fx, upright.fy) == (3010.0, 3000.0)
    assert (upright.cx, upright.cy) == (1499.5, 1999.5)


@pytest.fixture
def photo(tmp_path):
    (tmp_path / "calibration").mkdir()
    write_profile(profile(), tmp_path / "calibration" / "phone.toml")
    picture = photograph(DrawnCamera((80, 60), 60.0), soil_wall())
    return replace(picture, path=tmp_path / "wall.jpg")


def row(lens: str | None) -> SheetRow:
    return SheetRow("wall.jpg", "wall", lens=lens)


def test_the_sheet_names_a_lens(photo):
    lens = lens_for(photo, row("phone"))
    assert lens is not None
    assert lens.fx == pytest.approx(3000.0 * 80 / 4000)


def test_a_lens_is_matched_by_camera_and_focal_length(photo):
    alike = replace(photo, camera="Some Phone", focal_px=61.0)
    assert lens_for(alike, row(None)) is not None
    assert lens_for(replace(alike, focal_px=120.0), row(None)) is None
    assert lens_for(replace(alike, camera="Other"), row(None)) is None
    assert lens_for(photo, None) is None


def test_a_measured_lens_is_used_as_it_is(tmp_path):
    camera = DrawnCamera(k1=-0.06, yaw_deg=8.0)
    drawn = Lens(camera.focal_px, camera.focal_px, *((np.array(camera.size_px) - 1) / 2), k1=camera.k1)
    (tmp_path / "lens").mkdir()
    write_profile(LensProfile("wide", "", camera.size_px, drawn, 0.1, 9), tmp_path / "lens" / "wide.toml")
    picture = photograph(camera, hung(soil_wall(), card_face(), (6.0, 11.0)))
    plane = find_plane(replace(picture, path=tmp_path / "wall.jpg"), row("wide"), None, PlaneSettings())
    assert plane.lens is not None
    assert plane.lens.k1 == pytest.approx(camera.k1, abs=1e-6)
    assert abs(scale_error(camera, plane.to_wall_in)[0]) < 0.003


def as_taken_by_a_phone(rgb, path):
    """A JPEG whose EXIF says which camera took it and how long its lens is."""
    picture = Image.fromarray(rgb)
    exif = picture.getexif()
    exif[Base.Make], exif[Base.Model] = "Some", "Some Phone 7"
    # 640 px on a diagonal of 1000 px are 27.7 mm on one of 43.27 mm; cameras write whole millimetres.
    exif.get_ifd(IFD.Exif)[Base.FocalLengthIn35mmFilm] = 28
    picture.save(path, quality=95, exif=exif)


def test_the_command_measures_a_lens_and_grade_uses_it(boards, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for folder in ("boards", "pit"):
        (tmp_path / folder).mkdir()
    for path in sorted(boards.glob("*.png"))[:5]:
        as_taken_by_a_phone(np.asarray(Image.open(path)), tmp_path / "boards" / f"{path.stem}.jpg")
    said = CliRunner().invoke(app, ["lens", "boards", "--name", "phone"])
    assert said.exit_code == 0, said.output
    assert (tmp_path / "calibration" / "phone.jpg").stat().st_size > 10_000

    camera = replace(CAMERA, distance_in=27.0, aim_in=(0.0, 10.0))
    wall = photograph(camera, hung(soil_wall(), card_face(), (6.0, 11.0)))
    # One wall's sheet row names the lens, though its photo lost its EXIF; the other is matched by EXIF.
    Image.fromarray(wall.rgb).save(tmp_path / "pit" / "named.jpg", quality=95)
    as_taken_by_a_phone(wall.rgb, tmp_path / "pit" / "matched.jpg")
    (tmp_path / "pit" / "sheet.csv").write_text("photo,lens\nnamed.jpg,phone\nmatched.jpg,\n")
    plan = plan_walls([tmp_path / "pit"])
    run = grade_walls(plan, tmp_path / "out")
    assert run.refused == 0
    measured = asdict(read_profile(tmp_path / "calibration" / "phone.toml").lens)
    used = {
        name: json.loads((tmp_path / "out" / "traces" / f"{name}.json").read_text())["lens"]
        for name in ("named", "matched")
    }
    assert used["named"] == pytest.approx(measured)
    assert used["matched"] == pytest.approx(measured)
    # Another lens, and the walls are read again.
    before = [job.key(Settings()) for job in plan.jobs]
    (tmp_path / "calibration" / "phone.toml").unlink()
    assert not set(before) & {job.key(Settings()) for job in plan.jobs}


def test_a_lens_that_is_not_there_is_an_error(photo, tmp_path, monkeypatch):
    with pytest.raises(BadSheet, match="'pocket'"):
        lens_for(photo, row("pocket"))
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    monkeypatch.chdir(elsewhere)
    with pytest.raises(BadSheet, match="there is no folder lens or calibration beside the photos or here"):
        lens_for(replace(photo, path=None), row("pocket"))


def test_a_profile_that_is_none_is_an_error(tmp_path):
    path: Path = tmp_path / "bad.toml"
    path.write_text("camera = 3")
    with pytest.raises(BadSheet, match="not a lens profile"):
        read_profile(path)

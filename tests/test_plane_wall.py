"""Level, soil surface, points from marks, standoff, and the wall laid flat."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from drawn_walls import (
    DrawnCamera,
    card_face,
    hung,
    photograph,
    scale_error,
    soil_wall,
    staff_face,
    tilted,
)

from rootread.errors import NoBelievableScale
from rootread.fieldsheet import SheetRow
from rootread.geometry import apply_homography
from rootread.marks import Marks, ScaleMark
from rootread.photo import Photo
from rootread.plane import Grid, Lens, Surface, WallPlane, background, find_plane, lay_flat, locate
from rootread.plane import flat as flat_wall
from rootread.plane.background import kinds
from rootread.plane.first_line import FirstLine, first_line
from rootread.plane.flat import resample
from rootread.plane.level import Witness, weigh
from rootread.plane.types import Level, ScaleFinding
from rootread.settings import PlaneSettings

SURFACE_TOLERANCE_IN = 0.15
LEVEL_TOLERANCE_DEG = 0.3
SCALE_TOLERANCE = 0.005
LIGHT_TOLERANCE = 3
"""Of 255."""

CAMERA = DrawnCamera()
CARD_AT_IN = (6.0, 11.0)


def rolling(x):
    """A surface that rises and falls by half an inch."""
    return 0.5 * np.sin(2 * np.pi * x / 16.0)


@cache
def card_photo(camera: DrawnCamera = CAMERA, lean_deg: float = 0.0) -> Photo:
    return photograph(camera, hung(soil_wall(rolling), card_face(), CARD_AT_IN, lean_deg))


def read(photo: Photo, marks: Marks | None = None, **cells):
    return find_plane(photo, SheetRow("drawn.jpg", "drawn", **cells), marks, PlaneSettings())


def test_the_soil_surface_is_found_under_the_sky():
    plane = read(card_photo())
    drawn_in = plane.to_wall_in(CAMERA.to_photo(np.column_stack([x := np.linspace(-12, 12, 60), rolling(x)])))
    line = plane.surface.line_in
    off_in = np.interp(drawn_in[:, 0], line[:, 0], line[:, 1]) - drawn_in[:, 1]
    assert plane.surface.source == "photo"
    assert np.median(np.abs(off_in)) < SURFACE_TOLERANCE_IN
    assert np.median(np.abs(off_in)) < 2 * plane.surface.se_in


def test_an_arm_across_the_wall_is_not_taken_for_the_sky():
    wall = hung(soil_wall(), card_face(), CARD_AT_IN)
    skin = np.array([0.45, 0.25, 0.16])

    def with_arm(x, z):
        return np.where(((x < 3.0) & (np.abs(z - 5.0 - 0.05 * x) < 1.3))[..., None], skin, wall(x, z))

    plane = read(photograph(CAMERA, with_arm))
    line_in = plane.to_wall_in(CAMERA.to_photo(np.array([[-8.0, 0.0], [0.0, 0.0], [8.0, 0.0]])))
    assert plane.surface.source == "photo"
    assert np.abs(line_in[:, 1]).max() < 2 * SURFACE_TOLERANCE_IN


def look_of(*steps: tuple[int, float, float]) -> FirstLine:
    """A look 30 in high, rough as soil; above each step's row it is plainer and paler by so much more."""
    rng = np.random.default_rng(4)
    features = np.zeros((360, 300, 4), np.float32)
    features[..., 0] = 30.0 + rng.normal(0.0, 2.0, (360, 300))
    features[..., 3] = -2.0 + rng.normal(0.0, 0.1, (360, 300))
    for row, plainer, paler in steps:
        features[:row, :, 3] -= plainer
        features[:row, :, 0] += paler
    valid = np.ones((360, 300), bool)
    return first_line(features, valid, kinds(features, valid), [])


def test_a_plain_sky_leaves_no_doubt_where_the_surface_is():
    line = look_of((72, 1.6, 0.0))
    assert np.abs(line.rows - 72).max() < 6
    assert line.open_in < 1.5


def test_two_faint_steps_leave_both_places_open():
    # 24 and 168 rows of a twelfth of an inch: two and fourteen inches down.
    line = look_of((24, 0.3, 3.0), (168, 0.3, 3.0))
    assert line.open_in > 10.0


def test_depth_is_counted_from_the_mean_of_the_surface_line():
    line = read(card_photo()).surface.line_in
    assert np.trapezoid(line[:, 1], line[:, 0]) == pytest.approx(0.0, abs=1e-6)
    assert np.all(np.diff(line[:, 0]) > 0)


def test_a_photo_that_shows_no_surface_says_so():
    camera = replace(CAMERA, aim_in=(0.0, 25.0))
    photo = photograph(camera, hung(soil_wall(), card_face(), (3.0, 25.0)))
    plane = read(photo)
    assert plane.surface.source == "assumed"
    assert plane.surface.se_in >= 1.0
    assert any("surface was not found" in caution for caution in plane.cautions)


@pytest.mark.parametrize(
    ("quarter_turns", "how"), [(1, "on its side"), (2, "upside down"), (3, "on its side")]
)
def test_a_photo_that_is_not_upright_is_told_by_its_card(quarter_turns, how):
    photo = card_photo()
    turned = replace(photo, rgb=np.ascontiguousarray(np.rot90(photo.rgb, quarter_turns)))
    assert any(f"The card is {how} in the photo" in caution for caution in read(turned).cautions)
    assert not any("in the photo, and down" in caution for caution in read(photo).cautions)


def test_a_marked_surface_wins():
    drawn_px = CAMERA.to_photo(np.column_stack([x := np.linspace(-9, 9, 7), np.full_like(x, 2.0)]))
    marks = Marks(surface_px=tuple((float(c), float(r)) for c, r in drawn_px))
    plane = read(card_photo(), marks)
    assert plane.surface.source == "marks"
    # Depth is now counted from the marks, two inches further down.
    card_px = CAMERA.to_photo(np.array([CARD_AT_IN]))
    assert plane.to_wall_in(card_px)[0, 1] == pytest.approx(CARD_AT_IN[1] - 2.0, abs=0.1)


def test_a_hung_card_gives_the_plumb_line_although_the_camera_is_rolled():
    camera = tilted(CAMERA, 5.0, -4.0, 4.0)
    plane = read(card_photo(camera), level="card")
    assert plane.level.source == "card"
    assert abs(scale_error(camera, plane.to_wall_in)[1]) < LEVEL_TOLERANCE_DEG


def test_a_crooked_card_is_outvoted_by_photo_and_surface():
    plane = read(card_photo(lean_deg=6.0))
    _, turned = scale_error(CAMERA, plane.to_wall_in)
    assert plane.level.source != "card"
    assert abs(turned) < 2.0
    assert abs(turned) < 2 * plane.level.se_deg


def test_level_can_be_told_and_is_stated():
    crooked = card_photo(lean_deg=6.0)
    by_card = read(crooked, level="card")
    assert scale_error(CAMERA, by_card.to_wall_in)[1] == pytest.approx(-6.0, abs=LEVEL_TOLERANCE_DEG)
    by_photo = read(crooked, level="photo")
    assert by_photo.level.source == "photo"
    assert abs(scale_error(CAMERA, by_photo.to_wall_in)[1]) < LEVEL_TOLERANCE_DEG


def test_agreeing_witnesses_make_the_level_surer_and_a_stray_one_less_sure():
    card, photo = Witness("card", 0.0, 0.4, 3.0, 0.25), Witness("photo", 0.5, 1.5, 5.0, 0.1)
    stray = replace(photo, down_deg=5.0)
    _, alone = weigh([photo], "auto")
    _, agreeing = weigh([card, photo], "auto")
    _, at_odds = weigh([card, stray], "auto")
    assert agreeing.se_deg < alone.se_deg
    assert at_odds.se_deg > agreeing.se_deg


def test_the_posterior_of_two_sure_witnesses_is_their_weighted_mean():
    # Two normal errors, no chance of being crooked: the textbook inverse-variance mean.
    one, two = Witness("card", 0.0, 1.0, 9.0, 0.0), Witness("photo", 3.0, 2.0, 9.0, 0.0)
    down_deg, level = weigh([one, two], "auto")
    assert down_deg == pytest.approx(3.0 / 4 / (1 + 1 / 4), abs=0.01)
    assert level.se_deg == pytest.approx((1 + 1 / 4) ** -0.5, abs=0.01)


def test_a_card_half_an_inch_in_front_reads_large_until_the_sheet_says_so():
    # The card is drawn where it stands, half an inch nearer, by drawing it larger on the wall.
    nearer = CAMERA.distance_in / (CAMERA.distance_in - 0.5)
    photo = photograph(CAMERA, hung(soil_wall(), card_face(scale=nearer), CARD_AT_IN))
    told = scale_error(CAMERA, read(photo, standoff_in=0.5).to_wall_in)[0]
    untold = scale_error(CAMERA, read(photo).to_wall_in)[0]
    assert untold == pytest.approx(1 / nearer - 1, abs=0.002)
    assert told == pytest.approx(0.0, abs=0.002)


def marked(camera: DrawnCamera, points_in, with_inches: bool) -> tuple[ScaleMark, ...]:
    photo_px = camera.to_photo(np.array(points_in, dtype=float))
    return tuple(
        ScaleMark((float(px[0]), float(px[1])), tuple(map(float, at)) if with_inches else None)
        for px, at in zip(photo_px, points_in, strict=True)
    )


def test_two_marked_points_give_one_length_and_leave_the_tilt_unknown():
    photo = photograph(CAMERA, soil_wall())
    marks = Marks(
        scale_points=marked(CAMERA, [(-5.0, 4.0), (-4.0, 16.0)], False), distance_in=np.hypot(1, 12)
    )
    plane = read(photo, marks, scale="points")
    assert plane.scale.kind == "points"
    assert np.isnan(plane.tilt_deg)
    assert abs(scale_error(CAMERA, plane.to_wall_in)[0]) < SCALE_TOLERANCE
    assert plane.scale.px_per_in_se / plane.scale.px_per_in > 0.005
    # x is counted from the first point.
    assert plane.to_wall_in(np.array([marks.scale_points[0].px]))[0, 0] == pytest.approx(0.0, abs=1e-6)


def test_four_marked_corners_give_the_whole_plane():
    camera = tilted(CAMERA, 12.0, -6.0, 2.0)
    corners = [(-6.0, 3.0), (6.0, 3.0), (6.0, 15.0), (-6.0, 15.0)]
    plane = read(photograph(camera, soil_wall()), Marks(scale_points=marked(camera, corners, True)))
    assert abs(scale_error(camera, plane.to_wall_in)[0]) < 2 * SCALE_TOLERANCE
    assert plane.tilt_deg == pytest.approx(np.degrees(np.arccos(camera.pose[0][2, 2])), abs=1.5)


def test_points_asked_for_but_not_marked_are_asked_for_again():
    with pytest.raises(NoBelievableScale, match="no scale points are marked"):
        read(card_photo(), scale="points")


def test_marked_points_win_over_a_card():
    marks = Marks(scale_points=marked(CAMERA, [(-5.0, 4.0), (-5.0, 16.0)], False), distance_in=12.0)
    assert read(card_photo(), marks).scale.kind == "points"


def test_soil_is_below_the_surface_inside_the_photo_and_off_the_card():
    plane = read(card_photo())
    image = lay_flat(card_photo(), plane, PlaneSettings())
    rows, columns = image.grid.shape
    x, z = (image.grid.to_in(np.array([[c, r]]))[0] for c, r in ((columns // 2, 0), (0, rows - 1)))
    assert z[1] > 10 > 0 > x[1]

    def soil_at(points_in):
        column, row = np.round(image.grid.to_px(plane.to_wall_in(CAMERA.to_photo(np.array([points_in])))))[0]
        return bool(image.soil[int(row), int(column)])

    assert soil_at((-6.0, 10.0))
    assert not soil_at((-6.0, -1.0))
    assert not soil_at(CARD_AT_IN)
    assert not soil_at((CARD_AT_IN[0] + 4.3, CARD_AT_IN[1]))
    assert soil_at((CARD_AT_IN[0] - 5.0, CARD_AT_IN[1]))


def test_the_flat_wall_shows_a_staff_upright_and_its_bands_an_inch_long():
    camera = tilted(CAMERA, 7.0, -5.0, 3.0)
    photo = photograph(camera, hung(soil_wall(), staff_face(16.0), (-4.0, 10.0)))
    plane = read(photo, level="staff")
    image = lay_flat(photo, plane, PlaneSettings())
    column = int(image.grid.to_px([[0.0, 0.0]])[0, 0])
    tone = image.rgb[:, column].mean(axis=1)
    steps = np.flatnonzero(np.diff((tone > 128).astype(int)) != 0)
    inside = steps[(steps > np.percentile(steps, 10)) & (steps < np.percentile(steps, 90))]
    assert np.diff(inside).mean() / image.grid.px_per_in == pytest.approx(1.0, abs=0.01)


def test_the_flat_wall_is_never_finer_than_the_photo_nor_than_the_setting():
    plane = read(card_photo())
    own = lay_flat(card_photo(), plane, PlaneSettings())
    assert own.grid.px_per_in == pytest.approx(plane.scale.px_per_in, rel=0.05)
    coarse = lay_flat(card_photo(), plane, PlaneSettings(working_px_per_in=15.0))
    assert coarse.grid.px_per_in == 15.0


def test_shrinking_averages_light_not_codes():
    # Black and white lines a pixel wide: half the light is sRGB 188 (IEC 61966-2-1), not 128.
    rgb = np.zeros((400, 400, 3), np.uint8)
    rgb[::2] = 255
    shrink = np.diag([4.0, 4.0, 1.0])
    flat, _ = resample(rgb, shrink, None, Grid(1.0, 5.0, 5.0, (80, 80)))
    assert np.abs(flat.astype(int) - 188).max() <= LIGHT_TOLERANCE


@pytest.mark.parametrize("shrink", [1.0, 1.4, 2.7])
def test_a_wall_laid_in_pieces_is_the_wall_laid_in_one_piece(shrink, monkeypatch):
    rng = np.random.default_rng(5)
    rgb = rng.integers(0, 256, (300, 400, 3), np.uint8)
    # Turned, so that a piece reaches over many of the photo's rows, and over its edges.
    turned = shrink * np.array([[0.95, -0.31, 20.0], [0.31, 0.95, -30.0], [0, 0, 1 / shrink]])
    grid = Grid(1.0, 0.0, 0.0, (300, 280))
    monkeypatch.setattr(flat_wall, "PIECE_PX", (16, 32))
    pieced, pieced_inside = resample(rgb, turned, None, grid)
    monkeypatch.setattr(flat_wall, "PIECE_PX", (320, 320))
    whole, whole_inside = resample(rgb, turned, None, grid)
    assert np.array_equal(pieced, whole)
    assert np.array_equal(pieced_inside, whole_inside)
    assert 0 < whole_inside.mean() < 1


def test_a_look_taken_in_bands_is_the_look_taken_at_once(monkeypatch):
    rgb = np.random.default_rng(6).integers(0, 256, (300, 400, 3), np.uint8)
    turned = np.array([[30.0, -3.0, 20.0], [4.0, 31.0, -30.0], [0, 0, 1]])
    grid = Grid(36.0, 0.0, 0.0, (360, 432))
    looks = []
    for rows in (48, 480):
        monkeypatch.setattr(background, "BAND_ROWS", rows)
        looks.append(background.look_at(rgb, turned, None, grid))
    (banded, banded_seen), (whole, whole_seen) = looks
    assert np.array_equal(banded, whole)
    assert np.array_equal(banded_seen, whole_seen)
    assert whole.shape == (120, 144, 4)
    assert 0 < whole_seen.mean() < 1


def test_a_lens_is_undone():
    lens = Lens(400.0, 400.0, 199.5, 199.5, k1=-0.15)
    columns, rows = np.meshgrid(np.arange(400.0), np.arange(400.0))
    straight = lens.undistort(np.column_stack([columns.ravel(), rows.ravel()]))
    # As the lens shows it: an edge that is straight on the wall at column 80.
    rgb = np.repeat(((straight[:, 0] > 80) * 255).astype(np.uint8).reshape(400, 400, 1), 3, axis=2)
    flat, _ = resample(rgb, np.eye(3), lens, Grid(1.0, 20.0, 20.0, (360, 360)))
    edges = np.argmax(flat[:, :, 0] > 127, axis=1)
    assert np.ptp(edges) <= 1
    assert edges.mean() + 20.0 == pytest.approx(80.5, abs=0.6)


def test_the_coarse_map_of_a_wall_agrees_with_every_pixel_worked_out():
    from rootread.plane.flat import photo_map

    lens = Lens(900.0, 900.0, 499.5, 374.5, k1=0.04)
    to_photo = np.array([[30.0, 2.0, 100.0], [-1.0, 31.0, 50.0], [0.002, -0.001, 1.0]])
    grid = Grid(30.0, 1.0, 1.0, (301, 403))
    pixels = np.stack(np.meshgrid(np.arange(403), np.arange(301)), axis=-1).reshape(-1, 2)
    exact = lens.distort(apply_homography(to_photo, grid.to_in(pixels))).reshape(301, 403, 2)
    assert np.abs(photo_map(to_photo, lens, grid) - exact).max() < 0.02


def test_wall_and_photo_places_are_each_others_inverse():
    plane = WallPlane(
        np.array([[30.0, 2.0, 100.0], [-1.0, 31.0, 50.0], [0.002, -0.001, 1.0]]),
        Lens(900.0, 900.0, 499.5, 374.5, k1=-0.03),
        ScaleFinding("card", 30.0, 0.1, (), np.zeros((0, 2)), np.zeros((0, 2)), 0.0),
        Level("card", 1.0),
        Surface(np.array([[0.0, 0.0], [10.0, 0.0]]), 0.1, "photo"),
        0.0,
    )
    points_in = np.random.default_rng(2).uniform(0, 15, (50, 2))
    assert np.abs(plane.to_wall_in(plane.to_photo_px(points_in)) - points_in).max() < 1e-3


def test_a_photo_without_exif_is_read_with_a_wider_uncertainty_than_one_with():
    camera = tilted(CAMERA, 10.0, 4.0)
    photo = photograph(camera, hung(soil_wall(), staff_face(), (-8.0, 10.0)))
    unknown = read(photo).scale
    known = read(replace(photo, focal_px=camera.focal_px)).scale
    assert known.px_per_in_se < unknown.px_per_in_se


def test_what_the_surface_is_sure_to_is_told_as_the_desk_and_the_report_tell_it():
    (told,) = locate._cautions("photo", surface_se_in=0.8, tilt_deg=2.0)
    assert told.startswith("The soil surface is sure only to 1.6 in,")

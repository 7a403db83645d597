"""A staff or a tape on a drawn wall: found without being told where, or refused."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
import skimage.data
from drawn_walls import (
    BLACK,
    CAMERA,
    TAPE_CAMERA,
    WHITE,
    YELLOW,
    covered,
    hung,
    photograph,
    read,
    rough,
    scale_error,
    shaded,
    soil_wall,
    staff_face,
    tape_face,
    tilted,
)

from rootread.errors import NoBelievableScale
from rootread.photo import Photo, to_linear, to_srgb
from rootread.plane.bars import Bar
from rootread.plane.hierarchy import Hierarchy, hierarchy, tick_unit_in
from rootread.plane.strips import Strip
from rootread.plane.ticks import find_ticks

STAFF_TOLERANCE = 0.01
TAPE_TOLERANCE = 0.015
FAR_ASIDE_TOLERANCE = 0.03
"""Seen from 15 degrees aside by a camera of unknown focal length."""

AT_IN = (-8.0, 10.0)
TAPE_AT_IN = (-7.0, 8.0)

GREY = (0.25, 0.25, 0.25)

INCH = ((1, 0.25), (4, 0.4), (8, 0.6))
METRIC = ((1, 0.25), (5, 0.4), (10, 0.6))


@pytest.mark.parametrize("lean_deg", [0.0, 6.0, -25.0, 60.0])
def test_a_staff_is_found_at_any_lean(lean_deg):
    plane = read(photograph(CAMERA, hung(soil_wall(), staff_face(15.0), (-3.0, 10.0), lean_deg)))
    error, turned = scale_error(CAMERA, plane.to_wall_in)
    assert plane.scale.kind == "staff"
    assert abs(error) < STAFF_TOLERANCE
    # A staff may lean, so it says nothing of the plumb line; the photo does.
    assert abs(turned) < 2 * plane.level.se_deg


@pytest.mark.parametrize(("yaw_deg", "pitch_deg"), [(8.0, 0.0), (0.0, 8.0), (-6.0, -8.0)])
def test_a_staff_tells_pitch_by_its_shortening_and_yaw_by_the_fan_of_its_bands(yaw_deg, pitch_deg):
    camera = tilted(CAMERA, yaw_deg, pitch_deg)
    plane = read(photograph(camera, hung(soil_wall(), staff_face(), AT_IN, 3.0)))
    assert abs(scale_error(camera, plane.to_wall_in)[0]) < STAFF_TOLERANCE
    true_tilt = np.degrees(np.arccos(camera.pose[0][2, 2]))
    assert plane.tilt_deg == pytest.approx(true_tilt, abs=3.0)


def test_a_staff_read_as_if_seen_square_on_would_be_wrong():
    # The check can fail: the mean spacing of the bands alone is off by more than the tolerance.
    camera = tilted(CAMERA, 8.0, -8.0)
    plane = read(photograph(camera, hung(soil_wall(), staff_face(), AT_IN)))

    def square_on(points_px):
        return points_px / plane.scale.px_per_in

    assert abs(scale_error(camera, square_on)[0]) > STAFF_TOLERANCE
    assert abs(scale_error(camera, plane.to_wall_in)[0]) < STAFF_TOLERANCE


def test_a_staff_that_is_not_among_the_clearest_bars_is_found_where_there_is_nothing_else(monkeypatch):
    monkeypatch.setattr("rootread.plane.scale.STRONGEST_BARS", 0)
    plane = read(photograph(CAMERA, hung(soil_wall(), staff_face(), AT_IN)))
    assert plane.scale.kind == "staff"


def test_clods_dust_and_shadow_on_a_staff_do_not_move_its_scale():
    wall = hung(soil_wall(), staff_face(), AT_IN, 2.0)
    clods = [(AT_IN[0], 6.0, 0.9), (AT_IN[0] + 0.3, 13.0, 0.7), (AT_IN[0] - 0.5, 16.0, 0.5)]
    photo = photograph(CAMERA, shaded(covered(wall, clods), 11.0, 0.25))
    assert abs(scale_error(CAMERA, read(photo).to_wall_in)[0]) < STAFF_TOLERANCE


def test_a_staff_partly_out_of_the_frame_still_reads():
    plane = read(photograph(CAMERA, hung(soil_wall(), staff_face(24.0), (-8.0, 17.0), 4.0)))
    assert abs(scale_error(CAMERA, plane.to_wall_in)[0]) < STAFF_TOLERANCE


def test_the_sheet_can_say_how_long_the_bands_are():
    photo = photograph(CAMERA, hung(soil_wall(), staff_face(18.0, band_in=2.0), AT_IN))
    assert abs(scale_error(CAMERA, read(photo, "staff", 2.0).to_wall_in)[0]) < STAFF_TOLERANCE


@pytest.mark.parametrize(("unit_in", "long_every"), [(1 / 8, INCH), (1 / 25.4 * 2, METRIC)])
def test_a_tape_is_read_by_its_ticks_when_the_sheet_says_what_they_are(unit_in, long_every):
    photo = photograph(TAPE_CAMERA, hung(soil_wall(), tape_face(14.0, unit_in, long_every), TAPE_AT_IN, 1.5))
    plane = read(photo, "tape", unit_in)
    assert plane.scale.kind == "tape"
    assert abs(scale_error(TAPE_CAMERA, plane.to_wall_in)[0]) < TAPE_TOLERANCE


def test_eighths_of_an_inch_are_told_by_every_eighth_tick_being_longest():
    photo = photograph(TAPE_CAMERA, hung(soil_wall(), tape_face(14.0), TAPE_AT_IN, -2.0))
    plane = read(photo)
    assert plane.scale.kind == "tape"
    assert abs(scale_error(TAPE_CAMERA, plane.to_wall_in)[0]) < TAPE_TOLERANCE


def test_millimetres_are_told_by_every_tenth_tick_being_longest():
    near = replace(TAPE_CAMERA, distance_in=8.0, aim_in=(0.0, 3.0))
    face = tape_face(5.5, 1 / 25.4, METRIC)
    plane = read(photograph(near, hung(soil_wall(), face, (-2.6, 3.2))))
    assert abs(scale_error(near, plane.to_wall_in)[0]) < TAPE_TOLERANCE


def test_millimetres_and_centimetres_are_told_by_how_many_go_on_the_width():
    every_tenth = Hierarchy(48, {8: 0.05, 16: 0.0, 10: 0.9}, None)
    # A tape of 25 mm: 25 ticks of a millimetre are as long as it is wide, or two and a half of a centimetre.
    assert tick_unit_in(every_tenth, 25.0) == pytest.approx(1 / 25.4)
    assert tick_unit_in(every_tenth, 2.5) == pytest.approx(1 / 2.54)
    assert tick_unit_in(Hierarchy(48, {8: 0.5, 16: 0.4, 10: 0.45}, False), 8.0) is None
    # Eighths on a tape a sixteenth of an inch wide: something else is wrong.
    assert tick_unit_in(Hierarchy(48, {8: 0.9, 16: 0.8, 10: 0.0}, False), 0.5) is None


def row_of_ticks(places_px):
    """A bar 40 px wide, as long as a photo is high, with dark ticks across it at some places along it."""
    length_px = 1800
    bar = Bar(
        np.array([[0.0, 0.0], [0.0, length_px]]), np.array([[40.0, 0.0], [40.0, length_px]]), strength=1.0
    )
    along = np.arange(length_px, dtype=float)[:, None]
    dark = np.exp(-(((along - places_px[None]) / 1.2) ** 2)).sum(axis=1)
    light = 0.5 - 0.3 * dark + np.random.default_rng(1).normal(0, 0.01, length_px)
    u = np.linspace(-0.35, 1.35, 69)
    tones = np.repeat(light[:, None], len(u), axis=1).astype(np.float32)
    return Strip(tones, u, bar, np.zeros((2, 3)), (True, True))


@pytest.mark.parametrize(
    ("pitch", "bow"), [(0.0, 0.0), (0.024, 0.0), (-0.024, 0.0), (0.0, 0.6), (0.0, -0.6), (0.02, 0.5)]
)
def test_two_hundred_ticks_are_counted_one_by_one_though_perspective_and_lens_move_them(pitch, bow):
    """Spacing changes by so much from end to end; a lens moves the outermost by so many spacings."""
    k = np.arange(200)
    share = 2 * k / 199 - 1
    true_px = 900 + 8.8 * (k - 99.5) * (1 + pitch * share) + 8.8 * bow * share**3
    marks = max((row.marks for row in find_ticks([row_of_ticks(true_px)])), key=lambda one: len(one.k))
    at = np.abs(marks.s[:, None] - true_px).argmin(axis=1)
    assert np.abs(marks.s - true_px[at]).max() < 1.0
    assert len(set(at - marks.k)) == 1
    assert len(marks.k) >= 80


def test_faint_ticks_are_counted_in_soil_that_is_rougher_than_they_are_dark():
    pale = tape_face(12.0, ink=tuple(0.8 * np.array(YELLOW)))
    plane = read(photograph(TAPE_CAMERA, hung(rough(soil_wall()), pale, TAPE_AT_IN, 1.5)))
    assert plane.scale.kind == "tape"
    assert abs(scale_error(TAPE_CAMERA, plane.to_wall_in)[0]) < TAPE_TOLERANCE


def test_ticks_that_all_seem_longer_toward_one_end_still_tell_what_they_are():
    k = np.arange(160)
    reach = np.select([k % 8 == 0, k % 4 == 0], [0.6, 0.4], 0.25)
    askew = reach + 0.3 * k / len(k)
    assert hierarchy(k, reach).explained[8] == pytest.approx(1.0)
    assert hierarchy(k, askew).explained[8] > 0.9
    assert tick_unit_in(hierarchy(k, askew), 8.0) == 1 / 8
    every_tenth = np.select([k % 10 == 0, k % 5 == 0], [0.6, 0.4], 0.25) - 0.15 * k / len(k)
    assert tick_unit_in(hierarchy(k, every_tenth), 25.0) == 1 / 25.4


def test_a_hierarchy_is_told_by_ticks_that_show_it_three_times():
    """Of 24 ticks every sixteenth is seen once or twice, and hardly any lengths would contradict it."""
    k = np.arange(24)
    lengths = np.random.default_rng(0).uniform(0.2, 0.6, len(k))
    assert hierarchy(k, lengths).explained[16] == 0.0
    eighths = np.where(k % 8 == 0, 0.6, 0.25)
    assert hierarchy(k, eighths).explained[8] == pytest.approx(1.0)


def test_a_tape_whose_ticks_are_all_alike_is_refused_with_a_question():
    photo = photograph(TAPE_CAMERA, hung(soil_wall(), tape_face(14.0, 1 / 8, ((1, 0.3),)), TAPE_AT_IN))
    with pytest.raises(NoBelievableScale, match="eighths of an inch, millimetres or") as refusal:
        read(photo)
    assert "tape:0.125 in or" in refusal.value.remedy
    assert abs(scale_error(TAPE_CAMERA, read(photo, "tape", 1 / 8).to_wall_in)[0]) < TAPE_TOLERANCE


def test_a_tape_half_in_shadow_reads_the_same():
    wall = hung(soil_wall(), tape_face(14.0), TAPE_AT_IN)
    photo = photograph(TAPE_CAMERA, shaded(wall, 8.0, 0.2))
    assert abs(scale_error(TAPE_CAMERA, read(photo).to_wall_in)[0]) < TAPE_TOLERANCE


@pytest.mark.parametrize("yaw_deg", [8.0, -8.0])
def test_a_blurred_tape_still_tells_from_how_far_aside_it_is_seen(yaw_deg):
    camera = tilted(TAPE_CAMERA, yaw_deg, 0.0)
    sharp = photograph(camera, hung(soil_wall(), tape_face(16.0), (-9.0, 8.0), 1.0))
    # A third of the way from tick to tick: each is spread into the next.
    plane = read(Photo(None, to_srgb(cv2.GaussianBlur(to_linear(sharp.rgb), (0, 0), 1.8))))
    assert abs(scale_error(camera, plane.to_wall_in)[0]) < 0.004


@pytest.mark.parametrize("lean_deg", [0.0, 4.0])
def test_far_aside_a_rule_says_how_unsure_it_is(lean_deg):
    camera = tilted(CAMERA, 15.0, 5.0)
    plane = read(photograph(camera, hung(soil_wall(), staff_face(), AT_IN, lean_deg)))
    error, _ = scale_error(camera, plane.to_wall_in)
    assert abs(error) < FAR_ASIDE_TOLERANCE
    assert abs(error) < 3 * plane.scale.px_per_in_se / plane.scale.px_per_in


LONG_LENS = replace(CAMERA, focal_px=1150.0, distance_in=41.4)
"""As much of the wall from further off, by a lens half as long again as most have."""


def with_side_seen(face, thick_in: float):
    """A bar whose grey side is seen beyond the right edge of its front, equally wide all along."""

    def paint(u, v):
        light = face(u, v)
        beside = np.isnan(light[..., 0]) & np.isfinite(face(u - thick_in, v)[..., 0]) & (u > 0)
        light[beside] = GREY
        return light

    return paint


@pytest.mark.parametrize(("yaw_deg", "pitch_deg"), [(19.0, 9.0), (-8.0, 20.0)])
def test_by_the_right_angle_of_sides_and_bands_a_staff_tells_a_long_lens_from_little_tilt(yaw_deg, pitch_deg):
    camera = tilted(LONG_LENS, yaw_deg, pitch_deg)
    plane = read(photograph(camera, hung(soil_wall(), staff_face(), AT_IN)))
    assert abs(scale_error(camera, plane.to_wall_in)[0]) < STAFF_TOLERANCE
    true_tilt = np.degrees(np.arccos(camera.pose[0][2, 2]))
    assert plane.tilt_deg == pytest.approx(true_tilt, abs=3.0)


@pytest.mark.parametrize(("yaw_deg", "pitch_deg"), [(19.0, 9.0), (-8.0, 20.0)])
def test_a_staff_seen_aside_with_its_thickness_is_as_sure_as_it_says(yaw_deg, pitch_deg):
    camera = tilted(LONG_LENS, yaw_deg, pitch_deg)
    thick = with_side_seen(staff_face(), 0.15)
    plane = read(photograph(camera, hung(soil_wall(), thick, AT_IN)))
    error, _ = scale_error(camera, plane.to_wall_in)
    assert abs(error) < 2 * plane.scale.px_per_in_se / plane.scale.px_per_in


def stalk(u, v):
    """A corn stalk: a pale green bar with a dark ring every inch and a half."""
    light = np.broadcast_to(np.array([0.30, 0.40, 0.15]), (*u.shape, 3)).copy()
    light = light * np.sqrt(np.clip(1 - (u / 0.8) ** 2, 0.05, 1))[..., None]
    light[np.abs((v + 20) % 1.5 - 0.75) < 0.1] *= 0.6
    light[np.abs(u) > 0.7] = np.nan
    return light


def fence(u, v):
    """Boards that go on to both sides."""
    return np.where((np.floor(v) % 2 == 0)[..., None], BLACK, WHITE)


def uneven_bar(u, v):
    """Bands, but no two of the same length."""
    edges = np.cumsum([0.5, 1.3, 0.7, 1.8, 0.6, 1.1, 1.6, 0.8, 1.4, 0.55, 1.2, 1.9, 0.75, 1.05]) - 8.0
    light = np.where((np.searchsorted(edges, v) % 2 == 0)[..., None], BLACK, WHITE)
    light[(np.abs(u) > 0.75) | (np.abs(v) > 8)] = np.nan
    return light


@pytest.mark.parametrize("face", [stalk, fence, uneven_bar])
def test_a_thing_with_bands_that_is_no_staff_is_not_taken_for_one(face):
    photo = photograph(CAMERA, hung(soil_wall(), face, (-3.0, 10.0), 1.0))
    with pytest.raises(NoBelievableScale, match="holds up as a scale"):
        read(photo)


PHOTOS = ("gravel", "grass", "brick", "coins", "page", "text", "rocket", "chelsea")
GROUND = ("gravel", "grass", "brick")


@pytest.mark.parametrize(
    ("name", "scale"),
    [(name, "auto") for name in PHOTOS] + [(name, scale) for name in GROUND for scale in ("staff", "tape")],
)
def test_scikit_images_photos_hold_no_scale(name, scale):
    picture = getattr(skimage.data, name)()
    rgb = np.dstack([picture] * 3) if picture.ndim == 2 else picture[..., :3]
    rgb = cv2.resize(np.ascontiguousarray(rgb), None, fx=1.6, fy=1.6, interpolation=cv2.INTER_LINEAR)
    with pytest.raises(NoBelievableScale) as refusal:
        read(Photo(None, rgb), scale)
    assert refusal.value.remedy


def test_a_board_of_one_flat_tone_holds_no_scale():
    rgb = np.full((900, 1200, 3), 90, np.uint8)
    rgb[:, 300:380] = 210
    rgb[:, 700:] = np.random.default_rng(3).integers(60, 120, (900, 500, 3))
    with pytest.raises(NoBelievableScale):
        read(Photo(None, rgb))


def test_bare_soil_holds_no_scale():
    with pytest.raises(NoBelievableScale, match="No card, staff or tape"):
        read(photograph(CAMERA, soil_wall()))

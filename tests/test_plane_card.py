"""A card on a drawn wall gives back the camera that saw it."""

from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest
from drawn_walls import (
    CAMERA,
    DrawnCamera,
    card_face,
    covered,
    hung,
    photograph,
    read,
    scale_error,
    soil_wall,
    staff_face,
    tilted,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from rootread.errors import NoBelievableScale
from rootread.photo import Photo
from rootread.plane.adjust import fit_camera
from rootread.plane.camera import CameraBelief, pose_from_homography
from rootread.plane.card import marker_corners_in
from rootread.plane.sightings import Sightings

SCALE_TOLERANCE = 0.005
"""Card: lengths within 0.5 %."""
HARD_SCALE_TOLERANCE = 0.01
TILT_TOLERANCE_DEG = 1.5
MATCH_TOLERANCE_IN = 0.1

CENTRE_IN = (6.0, 11.0)


@cache
def photo_of_card(camera: DrawnCamera = CAMERA, lean_deg: float = 0.0, **how: float) -> Photo:
    return photograph(camera, hung(soil_wall(), card_face(), CENTRE_IN, lean_deg), **how)


@settings(max_examples=4)
@given(
    yaw=st.floats(-25, 25),
    pitch=st.floats(-25, 25),
    roll=st.floats(-10, 10),
    k1=st.sampled_from([0.0, -0.03, 0.03]),
)
def test_a_card_gives_the_scale_of_a_wall_seen_from_aside(yaw, pitch, roll, k1):
    camera = replace(tilted(CAMERA, yaw, pitch, roll), k1=k1)
    plane = read(photo_of_card(camera))
    error, _ = scale_error(camera, plane.to_wall_in)
    assert plane.scale.kind == "card"
    assert abs(error) < HARD_SCALE_TOLERANCE
    tilt_error_deg = abs(plane.tilt_deg - np.degrees(np.arccos(camera.pose[0][2, 2])))
    assert tilt_error_deg < 2 * TILT_TOLERANCE_DEG
    assert tilt_error_deg < 3 * plane.tilt_se_deg + 0.1


@settings(max_examples=30)
@given(
    yaw=st.floats(-25, 25),
    pitch=st.floats(-25, 25),
    roll=st.floats(-180, 180),
    distance=st.floats(20, 60),
    focal=st.floats(0.45, 0.85),
    k1=st.floats(-0.04, 0.04),
)
def test_any_camera_in_range_is_recovered_from_the_corners_of_its_card(yaw, pitch, roll, distance, focal, k1):
    camera = DrawnCamera(
        (3000, 2250), focal * 3750, yaw, pitch, roll, distance, (CENTRE_IN[0] - 3, CENTRE_IN[1]), k1
    )
    card_in = np.concatenate([marker_corners_in(marker, 2.0) for marker in range(4)])
    photo_px = camera.to_photo(card_in + CENTRE_IN)
    belief = CameraBelief.of_photo(camera.size_px, None)
    matrix, _ = cv2.findHomography(card_in, photo_px)
    fit = fit_camera(
        Sightings.of_points(card_in, photo_px, 0.05), pose_from_homography(matrix, belief), belief
    )
    # Exact corners fix the plane around the card, whatever they leave open far from it.
    around_in = np.array([[-8.0, -8.0], [8.0, -8.0], [8.0, 8.0], [-8.0, 8.0]])
    assert np.abs(fit.to_plane(camera.to_photo(around_in + CENTRE_IN)) - around_in).max() < MATCH_TOLERANCE_IN


def test_stated_uncertainty_of_a_card_holds_the_truth_as_often_as_it_should():
    rng = np.random.default_rng(5)
    within = []
    for _ in range(60):
        yaw, pitch, roll = rng.uniform(-20, 20, 3)
        focal = 2250 * 0.63 / 0.6 * np.exp(rng.normal(0, 0.12))
        camera = DrawnCamera((3000, 2250), focal, yaw, pitch, roll, 35.0, CENTRE_IN, rng.normal(0, 0.02))
        card_in = np.concatenate([marker_corners_in(marker, 2.0) for marker in range(4)])
        photo_px = camera.to_photo(card_in + CENTRE_IN) + rng.normal(0, 0.15, (16, 2))
        belief = CameraBelief.of_photo(camera.size_px, None)
        matrix, _ = cv2.findHomography(card_in, photo_px)
        start = pose_from_homography(matrix, belief)
        fit = fit_camera(Sightings.of_points(card_in, photo_px, 0.15), start, belief)
        far_in = np.array([[-14.0, 0.0], [-12.0, 0.0]])
        far_px = camera.to_photo(far_in + CENTRE_IN)

        def length_in(values, fit=fit, far_px=far_px):
            ends = fit.to_plane(far_px, values)
            return float(np.hypot(*(ends[1] - ends[0])))

        within.append(abs(length_in(fit.values) - 2.0) < 2 * fit.standard_error(length_in))
    # Two standard errors hold 95 %; of 60, between 52 and 60 (binomial, 1 in 100).
    assert 0.87 <= np.mean(within) <= 1.0


@pytest.mark.parametrize(("yaw", "roll", "k1"), [(1.0, 0.0, 0.02), (4.0, 90.0, 0.02), (4.0, 0.0, -0.03)])
def test_an_adjustment_ends_at_one_place_wherever_it_starts(yaw, roll, k1):
    # Seen nearly square on, a card hardly tells a long lens and much tilt from a short one and little.
    camera = DrawnCamera((3000, 2250), 2300, yaw, -yaw / 2, roll, 60.0, (-4.0, 3.0), k1)
    card_in = np.concatenate([marker_corners_in(marker, 2.0) for marker in range(4)])
    photo_px = camera.to_photo(card_in + CENTRE_IN) + np.random.default_rng(11).normal(0, 0.02, (16, 2))
    belief = CameraBelief.of_photo(camera.size_px, None)
    matrix, _ = cv2.findHomography(card_in, photo_px)
    misfits = []
    for focal in (0.6, 1.0, 1.6):
        start = pose_from_homography(matrix, replace(belief, focal_px=focal * belief.focal_px))
        sightings = Sightings.of_points(card_in, photo_px, 0.02)
        misfits.append(fit_camera(sightings, start, belief, curl_se=np.full(2, 0.002)).misfit)
    # Sums of squares in units of the expected error: one more is a standard error from the best.
    assert np.ptp(misfits) < 0.01


@pytest.mark.parametrize("missing", [(0,), (1,), (0, 1), (0, 2)])
def test_a_card_works_with_markers_hidden(missing):
    seen = tuple(marker for marker in range(4) if marker not in missing)
    camera = tilted(CAMERA, 8.0, -5.0, 1.0)
    plane = read(photograph(camera, hung(soil_wall(), card_face(markers=seen), CENTRE_IN)))
    assert abs(scale_error(camera, plane.to_wall_in)[0]) < HARD_SCALE_TOLERANCE
    assert any("markers" in caution for caution in plane.cautions)


def test_one_marker_alone_is_no_scale():
    with pytest.raises(NoBelievableScale):
        read(photograph(CAMERA, hung(soil_wall(), card_face(markers=(2,)), CENTRE_IN)))


def test_clods_over_two_corners_of_a_card_do_not_move_the_scale():
    wall = hung(soil_wall(), card_face(), CENTRE_IN)
    clods = [(CENTRE_IN[0] - 3.6, CENTRE_IN[1] - 4.9, 0.5), (CENTRE_IN[0] + 2.0, CENTRE_IN[1] + 3.2, 0.4)]
    plane = read(photograph(CAMERA, covered(wall, clods)))
    assert abs(scale_error(CAMERA, plane.to_wall_in)[0]) < SCALE_TOLERANCE


@pytest.mark.parametrize(
    ("blur_px", "tolerance"), [(0.4, SCALE_TOLERANCE), (1.5, SCALE_TOLERANCE), (2.5, HARD_SCALE_TOLERANCE)]
)
def test_a_blurred_card_reads_the_same(blur_px, tolerance):
    plane = read(photo_of_card(blur_px=blur_px))
    assert abs(scale_error(CAMERA, plane.to_wall_in)[0]) < tolerance


def test_glare_that_eats_into_black_does_not_change_the_scale():
    # Over-exposed by two thirds of a stop: white is clipped, so blurred edges lie towards the black.
    bright = hung(soil_wall(), card_face(), CENTRE_IN)
    photo = photograph(CAMERA, lambda x, z: 1.6 * bright(x, z), blur_px=1.5)
    assert abs(scale_error(CAMERA, read(photo).to_wall_in)[0]) < SCALE_TOLERANCE


def curled_card(sag_in: float, across: bool):
    """A card whose two edges stand ``sag_in`` nearer to the camera than its middle."""

    def paint(x, z):
        u, v = x - CENTRE_IN[0], z - CENTRE_IN[1]
        nearer_in = sag_in * (u / 4.25 if across else v / 5.5) ** 2
        # What stands d before the wall appears on it further from the camera's foot, by 1 + d / D.
        foot_x, foot_z = CAMERA.aim_in
        shrink = 1 / (1 + nearer_in / CAMERA.distance_in)
        front = card_face()(
            foot_x + (x - foot_x) * shrink - CENTRE_IN[0], foot_z + (z - foot_z) * shrink - CENTRE_IN[1]
        )
        return np.where(np.isnan(front), soil_wall()(x, z), front)

    return paint


@pytest.mark.parametrize("across", [True, False])
@pytest.mark.parametrize("sag_in", [0.15, 0.35])
def test_a_curled_card_is_read_through_its_curl_and_says_so(sag_in, across):
    plane = read(photograph(CAMERA, curled_card(sag_in, across)))
    error = abs(scale_error(CAMERA, plane.to_wall_in)[0])
    assert error < HARD_SCALE_TOLERANCE
    assert error < 2 * plane.scale.px_per_in_se / plane.scale.px_per_in
    if sag_in > 0.3:
        assert any("bent" in caution for caution in plane.cautions)


@pytest.mark.parametrize("quarter_turns", [1, 2, 3])
def test_a_card_hung_in_any_direction_gives_the_same_inches_and_the_photo_its_upright(quarter_turns):
    plane = read(photo_of_card(lean_deg=90.0 * quarter_turns))
    error, turned = scale_error(CAMERA, plane.to_wall_in)
    assert abs(error) < SCALE_TOLERANCE
    assert abs(turned) < 1.0


def test_a_turned_photo_reads_the_same_inches():
    photo = photo_of_card()
    turned = Photo(None, np.ascontiguousarray(np.rot90(photo.rgb)))
    assert read(turned).scale.px_per_in == pytest.approx(read(photo).scale.px_per_in, rel=0.002)


def test_half_the_pixels_are_half_the_pixels_an_inch():
    photo = photo_of_card()
    half = Photo(None, cv2.resize(photo.rgb, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA))
    assert read(half).scale.px_per_in == pytest.approx(read(photo).scale.px_per_in / 2, rel=0.005)


def test_x_is_zero_at_the_card_and_depth_is_zero_at_the_surface():
    plane = read(photo_of_card())
    at = plane.to_wall_in(CAMERA.to_photo(np.array([CENTRE_IN, (0.0, 0.0), (3.0, 0.0)])))
    assert at[0, 0] == pytest.approx(0.0, abs=0.02)
    assert at[0, 1] == pytest.approx(CENTRE_IN[1], abs=0.1)
    assert at[1:, 1] == pytest.approx([0.0, 0.0], abs=0.1)


def test_the_sheet_can_say_that_markers_are_of_another_size():
    # Printed at 95 %: markers of 1.9 in.
    photo = photograph(CAMERA, hung(soil_wall(), card_face(scale=0.95), CENTRE_IN))
    assert abs(scale_error(CAMERA, read(photo, "card", 1.9).to_wall_in)[0]) < SCALE_TOLERANCE
    assert scale_error(CAMERA, read(photo, "card").to_wall_in)[0] == pytest.approx(1 / 0.95 - 1, abs=0.005)


def test_a_sheet_that_asks_for_a_staff_where_a_card_hangs_is_told_to_name_the_card():
    with pytest.raises(
        NoBelievableScale, match=r"asks for a staff, and no staff was found.* a card was"
    ) as told:
        read(photograph(CAMERA, hung(soil_wall(), card_face(), CENTRE_IN)), "staff")
    assert told.value.remedy.startswith("Write card in the sheet's scale column")


def test_a_sheet_that_asks_for_a_card_where_a_staff_stands_is_told_to_name_the_staff():
    with pytest.raises(NoBelievableScale, match=r"asks for a card.* a staff was") as told:
        read(photograph(CAMERA, hung(soil_wall(), staff_face(), CENTRE_IN)), "card")
    assert told.value.remedy.startswith("Write staff in the sheet's scale column")


def test_where_nothing_shows_the_scale_the_sheet_may_be_wrong_or_the_photo():
    with pytest.raises(NoBelievableScale, match="asks for a staff") as told:
        read(photograph(CAMERA, soil_wall()), "staff")
    assert "correct the sheet's scale column" in told.value.remedy
    assert told.value.remedy.endswith(
        "or mark two points a known distance apart (rootread desk, tool Scale)."
    )


def test_a_card_printed_at_the_wrong_size_is_found_out_by_a_staff():
    wall = hung(soil_wall(), staff_face(), (-6.0, 10.5))
    photo = photograph(CAMERA, hung(wall, card_face(scale=0.94), CENTRE_IN))
    with pytest.raises(NoBelievableScale, match="The card and the staff in this photo differ by 6 %"):
        read(photo)
    assert abs(scale_error(CAMERA, read(photo, "staff").to_wall_in)[0]) < 0.01


def test_two_cards_are_checked_against_each_other():
    wall = hung(soil_wall(), card_face(), (-7.0, 11.0))
    agree = read(photograph(CAMERA, hung(wall, card_face(), CENTRE_IN)))
    assert len(agree.scale.outlines_px) == 2
    assert not agree.cautions
    differ = read(photograph(CAMERA, hung(wall, card_face(scale=0.98), CENTRE_IN)))
    assert any("second scale object" in caution for caution in differ.cautions)
    with pytest.raises(NoBelievableScale, match=r"one kind .card. in this photo differ by 6 %"):
        read(photograph(CAMERA, hung(wall, card_face(scale=0.94), CENTRE_IN)))


def test_a_camera_that_knows_its_distance_contradicts_a_wrong_marker_size():
    photo = replace(photo_of_card(), subject_distance_in=27.0)
    read(photo)
    with pytest.raises(NoBelievableScale, match="camera itself says 27 in"):
        read(photo, "card", 10.0)

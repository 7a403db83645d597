"""A staff or a tape that the edge of the photo or clods hide in part: read where enough shows, or refused."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from drawn_walls import (
    CAMERA,
    TAPE_CAMERA,
    covered,
    hung,
    photograph,
    read,
    rough,
    scale_error,
    soil_wall,
    staff_face,
    tape_face,
)
from scipy.stats import theilslopes

from rootread.errors import NoBelievableScale
from rootread.photo import Photo, to_linear, to_srgb
from rootread.plane.hierarchy import hierarchy, median_slope, tick_unit_in

STAFF_TOLERANCE = 0.01
CUT_STAFF_TOLERANCE = 0.025
"""Of ten bands at the edge of a photo, by a camera of unknown focal length."""
TAPE_TOLERANCE = 0.015

TAPE_AT_IN = (-7.0, 8.0)
SIXTEENTHS = ((1, 0.15), (2, 0.25), (4, 0.33), (8, 0.45), (16, 0.6))


def shaken(photo: Photo, far_px: float, angle_deg: float) -> Photo:
    """The photo of a camera that moved so far while it was open."""
    way = np.linspace(-0.5, 0.5, 33)[:, None] * far_px
    angle = np.radians(angle_deg)
    moved = [
        cv2.warpAffine(
            np.dstack([to_linear(photo.rgb[..., k]) for k in range(3)]),
            np.array([[1, 0, float(step) * np.cos(angle)], [0, 1, float(step) * np.sin(angle)]]),
            photo.rgb.shape[1::-1],
            flags=cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
        for step in way[:, 0]
    ]
    return Photo(None, to_srgb(np.mean(moved, axis=0)))


@pytest.mark.parametrize("middle_in", [2.0, 18.0, 10.0])
def test_a_staff_that_runs_out_of_the_photo_at_one_end_or_at_both_gives_its_scale(middle_in):
    long = staff_face(28.0 if middle_in != 10.0 else 40.0)
    plane = read(photograph(CAMERA, hung(soil_wall(), long, (-8.0, middle_in), 2.0)))
    assert plane.scale.kind == "staff"
    assert abs(scale_error(CAMERA, plane.to_wall_in)[0]) < STAFF_TOLERANCE


@pytest.mark.parametrize("lowest_in", [8.0, 9.5])
def test_a_staff_of_which_the_photo_shows_the_lowest_bands_only_gives_its_scale(lowest_in):
    wall = hung(rough(soil_wall()), staff_face(24.0), (-12.0, lowest_in - 12.0), 3.0)
    plane = read(photograph(CAMERA, wall))
    assert plane.scale.kind == "staff"
    assert abs(scale_error(CAMERA, plane.to_wall_in)[0]) < CUT_STAFF_TOLERANCE


def test_a_staff_with_too_few_bands_in_the_photo_is_refused_for_that():
    wall = hung(soil_wall(), staff_face(24.0), (-12.0, 3.5 - 12.0), 3.0)
    with pytest.raises(NoBelievableScale, match="so little of it can be made out") as refusal:
        read(photograph(CAMERA, wall))
    assert "all of it in frame" in refusal.value.remedy


@pytest.mark.parametrize(("out_in", "lean_deg"), [(0.0, 3.0), (0.0, -3.0), (0.15, 2.0)])
def test_a_staff_of_which_one_long_side_lies_partly_outside_the_photo_gives_its_scale(out_in, lean_deg):
    edge_in = 0.5 * CAMERA.size_px[0] * CAMERA.distance_in / CAMERA.focal_px
    wall = hung(soil_wall(), staff_face(20.0), (edge_in - 0.75 + out_in, 10.0), lean_deg)
    plane = read(photograph(CAMERA, wall))
    assert plane.scale.kind == "staff"
    assert abs(scale_error(CAMERA, plane.to_wall_in)[0]) < CUT_STAFF_TOLERANCE


@pytest.mark.parametrize("end_in", [5.0, 6.5])
def test_a_tape_of_which_the_photo_shows_the_lowest_inches_only_gives_its_scale(end_in):
    wall = hung(rough(soil_wall()), tape_face(30.0), (-9.0, end_in - 15.0), 2.0)
    plane = read(photograph(TAPE_CAMERA, wall))
    assert plane.scale.kind == "tape"
    assert abs(scale_error(TAPE_CAMERA, plane.to_wall_in)[0]) < TAPE_TOLERANCE


@pytest.mark.parametrize(
    "clods", [[(3.0, 0.35), (6.6, 0.35), (11.5, 0.35)], [(2.5, 0.5), (7.8, 0.55), (13.8, 0.5)]]
)
def test_a_tape_between_clods_is_read_over_all_of_its_length(clods):
    wall = covered(hung(soil_wall(), tape_face(16.0), TAPE_AT_IN), [(-7.3, z, radius) for z, radius in clods])
    plane = read(photograph(TAPE_CAMERA, wall))
    assert abs(scale_error(TAPE_CAMERA, plane.to_wall_in)[0]) < TAPE_TOLERANCE
    assert np.ptp(plane.scale.points_in[:, 1]) > 14.0


@pytest.mark.parametrize("angle_deg", [30.0, 45.0, 60.0])
def test_a_camera_shaken_along_a_slant_turns_all_ticks_but_not_the_wall(angle_deg):
    sharp = photograph(TAPE_CAMERA, hung(soil_wall(), tape_face(16.0), (-9.0, 8.0), 1.0))
    plane = read(shaken(sharp, 6.0, angle_deg))
    assert abs(scale_error(TAPE_CAMERA, plane.to_wall_in)[0]) < TAPE_TOLERANCE


@pytest.mark.parametrize(("far_px", "angle_deg"), [(8.0, 30.0), (9.0, 30.0), (9.0, 20.0)])
def test_a_tape_whose_ticks_a_shaken_camera_turned_far_is_no_scale(far_px, angle_deg):
    sharp = photograph(TAPE_CAMERA, hung(soil_wall(), tape_face(16.0), (-9.0, 8.0), 1.0))
    with pytest.raises(NoBelievableScale, match="shaken"):
        read(shaken(sharp, far_px, angle_deg))


def lengths_of(long_every, count: int, noise: float, seed: int):
    k = np.arange(count)
    lengths = np.zeros(count)
    for every, reach in long_every:
        lengths[k % every == 0] = reach
    return k, lengths + np.random.default_rng(seed).normal(0, noise, count)


@pytest.mark.parametrize("count", [2, 3, 48, 150])
def test_the_median_of_slopes_between_ticks_is_that_of_scipy(count):
    k, lengths = lengths_of(SIXTEENTHS, count, 0.02, seed=0)
    assert median_slope(k, lengths) == theilslopes(lengths, k).slope


@pytest.mark.parametrize("seed", range(8))
def test_sixteenths_of_an_inch_are_not_taken_for_eighths(seed):
    k, lengths = lengths_of(SIXTEENTHS, 150, 0.02, seed)
    assert tick_unit_in(hierarchy(k, lengths), 16.0) in (1 / 16, None)


def test_a_rule_of_sixteenths_gives_its_scale():
    near = replace(TAPE_CAMERA, distance_in=10.0, aim_in=(0.0, 4.0))
    plane = read(photograph(near, hung(soil_wall(), tape_face(8.0, 1 / 16, SIXTEENTHS), (-4.0, 4.4))))
    assert abs(scale_error(near, plane.to_wall_in)[0]) < TAPE_TOLERANCE


def test_every_eighth_of_many_ticks_is_seen_to_be_longest_though_dirt_hides_some():
    rng = np.random.default_rng(1)
    k, lengths = lengths_of(((1, 0.25), (4, 0.4), (8, 0.6)), 152, 0.02, 1)
    dirty = np.repeat(rng.random(38) < 0.35, 4)
    lengths[dirty] = rng.uniform(0.17, 0.6, dirty.sum())
    told = hierarchy(k, lengths)
    assert 0.2 < told.explained[8] < 0.4
    assert tick_unit_in(told, 8.0) == 1 / 8

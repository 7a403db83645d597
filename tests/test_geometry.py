"""Polylines and homographies against plane geometry, OpenCV and scikit-image."""

import math

import cv2
import numpy as np
import pytest
import skimage.transform
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ellipe

from rootread.geometry import apply_homography, arc_length, resample_polyline

RELATIVE_LENGTH = 1e-5  # of chords of a finely drawn curve against the curve itself

TILTED = np.array([[70.0, 4.0, 900.0], [-3.0, 72.0, 300.0], [1e-3, -2e-3, 1.0]])


def test_a_homography_maps_as_opencv_and_scikit_image_map():
    points = np.random.default_rng(3).uniform(-30, 30, (50, 2))
    mapped = apply_homography(TILTED, points)
    assert np.allclose(mapped, cv2.perspectiveTransform(points[None], TILTED)[0], atol=1e-9)
    assert np.allclose(mapped, skimage.transform.ProjectiveTransform(TILTED)(points), atol=1e-9)


def test_the_inverse_homography_brings_points_back_and_scale_does_not_matter():
    points = [[0.0, 0.0], [12.0, 30.0]]
    there = apply_homography(7.0 * TILTED, points)
    assert np.allclose(apply_homography(np.linalg.inv(TILTED), there), points, atol=1e-9)


def test_straight_lines_stay_straight_under_a_homography():
    along = np.linspace(0, 1, 9)[:, None]
    mapped = apply_homography(TILTED, [-10.0, 3.0] + along * [35.0, 20.0])
    direction = (mapped[-1] - mapped[0]) / np.linalg.norm(mapped[-1] - mapped[0])
    off = mapped - mapped[0]
    assert np.abs(off[:, 0] * direction[1] - off[:, 1] * direction[0]).max() < 1e-9


def test_one_point_may_be_given_alone():
    assert apply_homography(np.eye(3), [3.0, 4.0]).tolist() == [[3.0, 4.0]]


def test_the_length_of_a_semicircle_is_pi_times_its_radius():
    angle = np.linspace(0, math.pi, 2001)
    along = arc_length(5 * np.column_stack([np.cos(angle), np.sin(angle)]))
    assert along[0] == 0
    assert along[-1] == pytest.approx(5 * math.pi, rel=RELATIVE_LENGTH)
    assert along[1000] == pytest.approx(along[-1] / 2)


def test_the_length_of_a_sine_wave_is_the_elliptic_integral():
    # 4 sqrt(1 + a^2) E(a^2 / (1 + a^2)) a period, a = amplitude x wavenumber; SciPy's ellipe
    amplitude, wavenumber = 0.4, 2.0
    x = np.linspace(0, 2 * math.pi / wavenumber, 4001)
    a = amplitude * wavenumber
    period = 4 * math.sqrt(1 + a**2) * ellipe(a**2 / (1 + a**2)) / wavenumber
    length = arc_length(np.column_stack([x, amplitude * np.sin(wavenumber * x)]))[-1]
    assert length == pytest.approx(period, rel=RELATIVE_LENGTH)


@given(angle=st.floats(0, 2 * math.pi), shift=st.tuples(st.floats(-50, 50), st.floats(-50, 50)))
def test_length_does_not_change_when_a_root_is_turned_or_moved(angle, shift):
    root = np.cumsum(np.random.default_rng(7).normal(0, 1, (40, 2)), axis=0)
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    assert arc_length(root @ turn.T + shift)[-1] == pytest.approx(arc_length(root)[-1], rel=1e-9)


@given(
    corners=st.lists(
        st.tuples(st.integers(-20, 20), st.integers(-20, 20)), min_size=2, max_size=8, unique=True
    ),
    step=st.floats(0.05, 30),
)
def test_resampling_keeps_the_ends_and_steps_evenly_along_the_root(corners, step):
    points, at = resample_polyline(corners, step)
    length = arc_length(corners)[-1]
    assert np.allclose(points[[0, -1]], [corners[0], corners[-1]])
    assert at[-1] == pytest.approx(length)
    assert np.allclose(np.diff(at), length / (len(at) - 1))
    assert len(at) == 2 or length / (len(at) - 1) == pytest.approx(step, rel=0.5)


def test_what_is_known_along_a_root_can_be_carried_to_the_new_points():
    corners = np.array([[0.0, 0.0], [3.0, 0.0], [3.0, 4.0]])
    width = [0.3, 0.3, 0.1]
    points, at = resample_polyline(corners, 0.5)
    assert len(points) == 15
    assert points[10].tolist() == [3.0, 2.0]
    assert np.interp(at, arc_length(corners), width)[10] == pytest.approx(0.2)

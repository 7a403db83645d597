"""The truth of a made photo agrees with the photo."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from rootread.geometry import apply_homography
from rootread.scene import draw_scene, render, write_scene
from rootread.scene.camera import View

SIZE = (1200, 900)
RAY_TOLERANCE_PX = 0.02
MARKER_TOLERANCE_PX = 0.7
ROUNDING_IN = 0.002
TRUTH_KEYS = {
    "name", "kind", "difficulty", "units", "photo_size", "plane_to_photo", "object_plane_to_photo", "k1",
    "focal_px", "distortion_centre", "px_per_in", "scale_object", "gravity_in_plane", "soil_surface",
    "horizon_AB", "layers", "cracks", "roots",
}  # fmt: skip
ROOT_KEYS = {
    "id", "order", "parent", "points", "seen", "width", "visible", "flat_ratio", "chord", "length",
    "tortuosity", "sideways_runs",
}  # fmt: skip


@pytest.fixture(scope="module")
def scene():
    drawn = draw_scene(np.random.default_rng(11), "blocked", "clean", scale="card")
    # A bulging wall through a barrel lens: nothing is where a plain plane would have it.
    ground = replace(drawn.ground, undulation_in=0.5)
    return replace(drawn, ground=ground, camera=replace(drawn.camera, k1=-0.04), things=())


@pytest.fixture(scope="module")
def rendered(scene):
    return render(scene, SIZE)


def seen_px(truth, root):
    """Photo pixels of a root's seen points, by the truth's own numbers and OpenCV's model."""
    undistorted = apply_homography(truth["plane_to_photo"], root["seen"])
    focal, (cx, cy) = truth["focal_px"], truth["distortion_centre"]
    matrix = np.array([[focal, 0, cx], [0, focal, cy], [0, 0, 1.0]])
    rays = np.column_stack([(undistorted - [cx, cy]) / focal, np.ones(len(undistorted))])
    photo, _ = cv2.projectPoints(
        rays, np.zeros(3), np.zeros(3), matrix, np.array([truth["k1"], 0, 0, 0, 0.0])
    )
    return np.rint(photo.reshape(-1, 2)).astype(int)


def test_visible_roots_are_in_the_mask_where_the_truth_says(rendered):
    inside = []
    for root in rendered.truth["roots"]:
        shown = np.array(root["visible"], bool) & (np.array(root["width"]) > 0.1)
        col, row = seen_px(rendered.truth, root)[shown].T
        inside.append(rendered.root_mask[row, col] > 0)
    inside = np.concatenate(inside)
    assert len(inside) > 500
    assert inside.mean() > 0.97


def test_without_the_reliefs_shift_the_agreement_would_be_worse(rendered):
    """The same check with where the roots are instead of where they are seen: it can fail."""

    def agreement(key):
        found = []
        for root in rendered.truth["roots"]:
            shown = np.array(root["visible"], bool) & (np.array(root["width"]) > 0.1)
            col, row = seen_px(rendered.truth, root | {"seen": root[key]})[shown].T
            found.append(rendered.root_mask[row, col] > 0)
        return np.concatenate(found).mean()

    assert agreement("seen") > agreement("points") + 0.05


def test_roots_are_told_from_soil_in_the_picture(rendered):
    grey = rendered.rgb.astype(float).mean(axis=2)
    on = rendered.root_mask > 0
    near = (cv2.dilate(rendered.root_mask, np.ones((15, 15), np.uint8)) > 0) & ~on
    assert abs(grey[on].mean() - grey[near].mean()) > 10


def test_plane_to_photo_agrees_with_projecting_rays(scene):
    """OpenCV's projectPoints, given the camera's pose, puts wall points where the homography does."""
    view = View(scene.camera, SIZE)
    points = np.random.default_rng(0).uniform([0, 0], [scene.width_in, scene.depth_in], (40, 2))
    for out_in in (0.0, 0.4):
        world = np.column_stack([points[:, 0], np.full(40, out_in), points[:, 1]])
        axes = view.axes()
        camera = np.array([scene.camera.x_in, scene.camera.distance_in, scene.camera.z_in])
        matrix = np.array([[view.focal_px, 0, view.centre[0]], [0, view.focal_px, view.centre[1]], [0, 0, 1]])
        turn, _ = cv2.Rodrigues(axes)
        expected, _ = cv2.projectPoints(
            world, turn, -axes @ camera, matrix, np.array([scene.camera.k1, 0, 0, 0, 0.0])
        )
        ours = view.distort(apply_homography(view.plane_to_photo(out_in), points))
        assert np.abs(ours - expected.reshape(-1, 2)).max() < RAY_TOLERANCE_PX


def test_undistorting_the_photos_grid_undoes_the_lens(scene):
    view = View(scene.camera, SIZE)
    col, row = view.undistorted_grid((0, 0, *SIZE))
    back = view.distort(np.column_stack([col[::90, ::90].ravel(), row[::90, ::90].ravel()]).astype(float))
    rows, cols = np.mgrid[0 : SIZE[1] : 90, 0 : SIZE[0] : 90]
    assert np.abs(back - np.column_stack([cols.ravel(), rows.ravel()])).max() < RAY_TOLERANCE_PX


def test_opencv_finds_the_cards_markers_where_the_truth_says(rendered):
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50))
    corners, ids, _ = detector.detectMarkers(cv2.cvtColor(rendered.rgb, cv2.COLOR_RGB2GRAY))
    truth = rendered.truth
    assert ids is not None and set(ids.ravel()) == {0, 1, 2, 3}
    turn = np.radians(truth["scale_object"]["rotation_deg"])
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    view_matrix = truth["object_plane_to_photo"]
    focal, centre = truth["focal_px"], np.array(truth["distortion_centre"])
    for found, number in zip(corners, ids.ravel(), strict=True):
        middle = np.array([(-2.75, -4.0), (2.75, -4.0), (2.75, 4.0), (-2.75, 4.0)][number])
        square = middle + np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
        wall = square @ rotation.T + truth["scale_object"]["centre"]
        off = apply_homography(view_matrix, wall) - centre
        expected = centre + off * (1 + truth["k1"] * (off**2).sum(axis=1, keepdims=True) / focal**2)
        assert np.abs(found.reshape(4, 2).mean(axis=0) - expected.mean(axis=0)).max() < MARKER_TOLERANCE_PX


def test_the_truth_has_the_keys_of_the_benchmark_walls(rendered):
    assert rendered.truth.keys() >= TRUTH_KEYS
    for root in rendered.truth["roots"]:
        assert root.keys() >= ROOT_KEYS
        count = len(root["points"])
        assert all(len(root[key]) == count for key in ("seen", "width", "visible", "flat_ratio"))


def test_depth_is_counted_from_the_mean_surface(rendered):
    surface = np.array(rendered.truth["soil_surface"])
    assert surface[:, 1].mean() == pytest.approx(0.0, abs=ROUNDING_IN)


def test_the_scale_object_hides_roots(scene):
    """With the card moved onto the roots fewer root pixels are seen."""
    crown = scene.crowns[0]
    over = replace(scene, scale=replace(scene.scale, x_in=crown.x_in, z_in=crown.z_in + 6.0))
    free = replace(scene, scale=replace(scene.scale, kind="none"))
    assert render(over, (600, 450)).root_mask.sum() < 0.9 * render(free, (600, 450)).root_mask.sum()


def test_the_same_seed_gives_the_same_bytes(tmp_path):
    files = []
    for folder in ("one", "two"):
        scene = draw_scene(np.random.default_rng(21), "mixed")
        path = write_scene(render(scene, (400, 300)), tmp_path / folder, "wall")
        files.append([p.read_bytes() for p in sorted(path.parent.iterdir())])
    assert len(files[0]) == 3
    assert files[0] == files[1]


def test_another_seed_gives_another_wall():
    one, two = (render(draw_scene(np.random.default_rng(seed), "open"), (400, 300)).rgb for seed in (1, 2))
    assert not np.array_equal(one, two)

"""Training crops carry labels that fit their pixels."""

from dataclasses import replace

import numpy as np
import pytest

from rootread.scene import draw_scene, draw_training_scene, render_crop, vary

SIZE, PX_PER_IN = 160, 50.0
WIDTH_TOLERANCE_PX = 0.6


@pytest.fixture(scope="module")
def scene():
    return draw_scene(np.random.default_rng(4), "open", "clean", scale="none")


def crop_with_one_root(scene, heading_deg, wrinkle=0.0):
    """A straight bare root 0.2 in wide through the middle of a crop, and nothing else."""
    turn = np.radians(heading_deg)
    points = np.array([15.0, 10.0]) + np.outer(np.arange(-3, 3, 0.05), [np.cos(turn), np.sin(turn)])
    count = len(points)
    root = replace(
        scene.roots[0], points=points, width_in=np.full(count, 0.2), out_in=np.full(count, 0.2), dirt=0.0,
        flat_ratio=np.ones(count), fuzz=0.0, wrinkle=wrinkle,
    )  # fmt: skip
    bare = replace(scene, roots=(root,), litter=(), stones=(), things=(), tool_marks=())
    return render_crop(bare, SIZE, PX_PER_IN, np.random.default_rng(0), (15.0, 10.0))


@pytest.mark.parametrize("heading_deg", [0, 30, 75, 120])
def test_a_straight_root_is_labelled_with_its_width_and_heading(scene, heading_deg):
    rgb, mask, half_px, direction = crop_with_one_root(scene, heading_deg)
    assert rgb.shape == (SIZE, SIZE, 3) and rgb.dtype == np.uint8
    middle = slice(SIZE // 2 - 2, SIZE // 2 + 3)
    assert mask[middle, middle].min() > 0.9
    assert half_px[middle, middle] == pytest.approx(0.1 * PX_PER_IN, abs=WIDTH_TOLERANCE_PX)
    double = np.radians(2 * heading_deg)
    assert direction[SIZE // 2, SIZE // 2] == pytest.approx([np.cos(double), np.sin(double)], abs=0.02)
    # Seen width: area over the length within the crop.
    length = SIZE / max(abs(np.cos(double / 2)), abs(np.sin(double / 2)))
    assert mask.sum() / length == pytest.approx(0.2 * PX_PER_IN, rel=0.12)


def test_wrinkles_along_the_skin_change_its_shade_across_and_nothing_of_its_labels(scene):
    """A level root: brightness along it hardly changes, from row to row it does."""
    smooth_rgb, *labels = crop_with_one_root(scene, 0)
    rgb, *same = crop_with_one_root(scene, 0, wrinkle=0.3)
    assert all(np.array_equal(one, other) for one, other in zip(labels, same, strict=True))
    root = np.s_[SIZE // 2 - 4 : SIZE // 2 + 5, 20:-20]
    change = np.log(rgb[root].astype(float).mean(axis=-1) / smooth_rgb[root].mean(axis=-1))
    assert np.abs(np.diff(change, axis=0)).mean() > 3 * np.abs(np.diff(change, axis=1)).mean()
    assert change.std() > 0.1


def test_both_ways_along_a_root_give_one_direction(scene):
    *_, there = crop_with_one_root(scene, 40)
    *_, back = crop_with_one_root(scene, 220)
    assert there[SIZE // 2, SIZE // 2] == pytest.approx(back[SIZE // 2, SIZE // 2], abs=1e-3)


def test_a_wall_without_roots_has_empty_labels(scene):
    _, mask, half_px, direction = render_crop(replace(scene, roots=()), SIZE, PX_PER_IN)
    assert not mask.any() and not half_px.any() and not direction.any()


def test_labels_are_whole_numbers_of_nothing_off_roots():
    for seed in range(6):
        rng = np.random.default_rng(seed)
        _, mask, half_px, direction = render_crop(draw_training_scene(rng), SIZE, PX_PER_IN, rng)
        assert mask.min() >= 0 and mask.max() <= 1
        off = half_px == 0
        assert not direction[off].any()
        assert np.allclose(np.hypot(*direction[~off].T), 1, atol=1e-3)


def test_the_same_generator_gives_the_same_crop():
    one, two = (render_crop(np.random.default_rng(9), SIZE, PX_PER_IN) for _ in range(2))
    assert all(np.array_equal(a, b) for a, b in zip(one, two, strict=True))


def test_a_varied_scene_keeps_its_roots_and_changes_its_look(scene):
    other = vary(scene, np.random.default_rng(1))
    assert all(np.array_equal(a.points, b.points) for a, b in zip(scene.roots, other.roots, strict=True))
    assert other.ground.seed != scene.ground.seed

"""Where two roots meet, as the network sees it on made walls of seeds and soils it never learnt from."""

import cv2
import numpy as np
import pytest
from drawn_roots import crossing
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from rootread.follow.seams import TILE_PX, seam_probability, windows_on
from rootread.follow.strands import find_strands
from rootread.scene import Scene, draw_scene, render_roots
from rootread.scene.soils import SOILS

HELD_OUT_SEED = 900_700
HELD_OUT_SOILS = ("purple_shale", "olive_till", "ash_white")
SIDE_PX, PX_PER_IN = 512, 72.0
Pixels = NDArray[np.bool_]


def has_dark_roots(scene: Scene) -> bool:
    bright = [np.mean(root.base_rgb) for root in scene.roots]
    return bool(np.median(bright) < np.mean(scene.ground.topsoil_rgb))


def pieces(dark: bool, count: int = 5) -> list[tuple[NDArray[np.uint8], NDArray[np.int16]]]:
    """Pictures of walls cut where a layer held their roots, and which root each pixel shows."""
    found: list[tuple[NDArray[np.uint8], NDArray[np.int16]]] = []
    for seed in range(HELD_OUT_SEED, HELD_OUT_SEED + 100):
        rng = np.random.default_rng(seed)
        scene = draw_scene(rng, "blocked", soils=HELD_OUT_SOILS)
        if has_dark_roots(scene) != dark or len(found) == count:
            continue
        runs = [run for root in scene.roots for run in root.runs]
        x = float(np.median([0.5 * (run.x0_in + run.x1_in) for run in runs]))
        z = float(np.median([run.z_in for run in runs]))
        rgb, root, _ = render_roots(scene, SIDE_PX, PX_PER_IN, rng, (x, z))
        found.append((rgb, root))
    return found


def meets(root: NDArray[np.int16], reach_px: int) -> Pixels:
    """Root pixels with another root within a reach."""
    kernel = np.ones((2 * reach_px + 1, 2 * reach_px + 1), np.uint8)
    high = cv2.dilate(root.astype(np.float32), kernel)
    low = cv2.erode(np.where(root >= 0, root, 10_000).astype(np.float32), kernel)
    both: Pixels = (root >= 0) & (high != low)
    return both


@given(st.integers(0, 2**32 - 1), st.integers(1, 300), st.integers(1, 300))
def test_windows_hold_every_root_pixel(seed: int, rows: int, columns: int) -> None:
    rng = np.random.default_rng(seed)
    mask = rng.random((rows, columns)) < rng.choice([0.0, 0.0003, 0.01])
    held = np.zeros((rows + TILE_PX, columns + TILE_PX), bool)
    for top, first, last in windows_on(mask):
        assert mask[top : top + TILE_PX, first:last].any()
        held[top : top + TILE_PX, first:last] = True
    assert not (mask & ~held[:rows, :columns]).any()


def test_bare_soil_is_not_asked_about() -> None:
    rgb = np.full((200, 300, 3), 120, np.uint8)
    assert windows_on(np.zeros((200, 300), bool)) == []
    assert not seam_probability(rgb, np.zeros((200, 300), bool), PX_PER_IN).any()


@pytest.mark.parametrize("dark", [False, True])
def test_roots_that_meet_are_told_from_one_root(dark: bool) -> None:
    """Paler or darker than soil: most of where two roots touch is said to be a seam; of one root, little."""
    assert set(HELD_OUT_SOILS) <= set(SOILS)
    touching, alone = [], []
    for rgb, root in pieces(dark):
        seam = seam_probability(rgb, root >= 0, PX_PER_IN)
        touching.append(seam[meets(root, 1)])
        alone.append(seam[(root >= 0) & ~meets(root, 4)])
    said, wrong = np.concatenate(touching), np.concatenate(alone)
    assert len(said) > 1000
    assert (said > 0.3).mean() > 0.7
    assert (wrong > 0.5).mean() < 0.03


def test_roots_side_by_side_are_parted_and_one_root_is_left_whole() -> None:
    beside = [np.array([[1.0, z], [8.0, z]]) for z in (4.5, 4.62)]
    pair = find_strands(*crossing(beside, 0.14))
    between = pair.mask[:, 90:450].astype(np.uint8)
    assert cv2.connectedComponents(between, connectivity=8)[0] == 3  # soil and two roots
    alone = find_strands(*crossing(beside[:1], 0.14))
    assert alone.mask.sum() > 0.98 * alone.whole_mask.sum()


@pytest.mark.parametrize("zoom", [0.5, 2.5])
def test_a_wall_of_another_resolution_is_read_at_one_that_was_learnt_from(zoom: float) -> None:
    rgb, root = pieces(False, 1)[0]
    size = (round(SIDE_PX * zoom), round(SIDE_PX * zoom))
    seen = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA if zoom < 1 else cv2.INTER_CUBIC)
    mask = cv2.resize((root >= 0).astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    found = seam_probability(seen, mask, PX_PER_IN * zoom)
    assert found.shape == mask.shape
    back = cv2.resize(found, (SIDE_PX, SIDE_PX), interpolation=cv2.INTER_LINEAR)
    assert back[meets(root, 1)].mean() > 4 * back[(root >= 0) & ~meets(root, 4)].mean()

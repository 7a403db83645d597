"""What is looked at again after roots are found: colour, cracks, the pit floor."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from rootread.find.cracks import crack_map
from rootread.find.floor import floor_row
from rootread.find.halfsize import half_wall
from rootread.find.likeness import likeness
from rootread.find.second_look import look_again, without_odd_pieces
from rootread.find.types import RootMap
from rootread.plane.types import Grid, WallImage

PX_PER_IN = 72.0
FLOOR_TOLERANCE_IN = 0.3
SHAPE = (1500, 1800)
TAN, STRAW = (190, 150, 105), (235, 235, 120)


def soil(shape: tuple[int, int] = SHAPE, seed: int = 3) -> NDArray[np.uint8]:
    """Brown soil with crumbs, sRGB."""
    rng = np.random.default_rng(seed)
    crumbs = cv2.GaussianBlur(rng.normal(0, 1, shape), (0, 0), 3.0) * 40
    grey = 85 + crumbs + rng.normal(0, 3, shape)
    return np.clip(np.dstack([grey * 1.2, grey, grey * 0.8]), 0, 255).astype(np.uint8)


def wall(rgb: NDArray[np.uint8]) -> WallImage:
    whole = np.ones(rgb.shape[:2], bool)
    return WallImage(rgb, whole, Grid(PX_PER_IN, 0.0, 0.0, rgb.shape[:2]))


def drawn(rgb: NDArray[np.uint8], ends: list[list[int]], colour: tuple[int, ...], width_px: int = 10) -> None:
    cv2.polylines(rgb, [np.array(ends, np.int32)], False, colour, width_px, cv2.LINE_AA)


def pixels(ends: list[list[int]], width_px: int = 10, shape: tuple[int, int] = SHAPE) -> NDArray[np.bool_]:
    line = np.zeros(shape, np.uint8)
    cv2.polylines(line, [np.array(ends, np.int32)], False, 1, width_px)
    return line > 0


def cracks(rgb: NDArray[np.uint8], root: NDArray[np.bool_]) -> NDArray[np.bool_]:
    return crack_map(half_wall(wall(rgb)), root)


def test_a_line_of_another_colour_is_unlike_the_roots() -> None:
    rgb = soil()
    roots = [[[100 + 300 * k, 100], [300 + 300 * k, 1300]] for k in range(4)]
    odd = [[150, 1400], [1600, 1380]]
    for ends in roots:
        drawn(rgb, ends, TAN)
    drawn(rgb, odd, STRAW)
    on = np.any([pixels(ends, 6) for ends in (*roots, odd)], axis=0)
    like = likeness(half_wall(wall(rgb)), on[::2, ::2])
    assert like[pixels(odd, 4)[::2, ::2]].mean() < 0.2
    assert like[pixels(roots[1], 4)[::2, ::2]].mean() > 0.5
    assert (like[~on[::2, ::2]] == 1).all()


def test_a_doubtful_piece_stays_where_it_looks_like_the_roots_and_goes_where_not() -> None:
    mask = np.zeros((60, 200), bool)
    mask[10:16, 10:190] = mask[40:46, 10:190] = True
    probability = np.full((30, 100), 0.6, np.float32)
    like = np.ones_like(probability)
    like[20:] = 0.3
    kept = without_odd_pieces(mask, probability, like)
    assert kept[10:16, 10:190].all() and not kept[40:46].any()


def test_a_crack_is_found_and_neither_a_root_nor_the_shade_along_it_is() -> None:
    rgb = soil()
    crack, root = [[500, 200], [520, 600], [480, 1100]], [[1000, 200], [1300, 1200]]
    drawn(rgb, crack, (14, 10, 8), 7)
    drawn(rgb, [[x + 8, y + 2] for x, y in root], (30, 24, 18), 6)
    drawn(rgb, root, TAN)
    found = cracks(rgb, pixels(root)[::2, ::2])
    assert found[pixels(crack, 3)[::2, ::2]].mean() > 0.8
    assert not found[:, 450:].any()


def test_a_root_that_runs_down_a_crack_is_no_crack_beside_it() -> None:
    rgb = soil()
    crack, root = [[500, 200], [500, 1200]], [[500, 200], [500, 700]]
    drawn(rgb, crack, (14, 10, 8), 16)
    drawn(rgb, root, TAN, 8)
    on = pixels(root, 8)[::2, ::2]
    found = cracks(rgb, on)
    assert not (found & on).any()
    assert found[400:580, 245:256].any(axis=1).mean() > 0.8


def on_a_floor() -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """A wall that ends 17.4 in down at a darker floor with straw on it."""
    rgb = soil()
    rgb[1253:] = np.clip(0.75 * soil(seed=8)[1253:] - [0, 0, 6], 0, 255)
    straws = [[[200 + 350 * k, 1330], [420 + 350 * k, 1360 + 20 * k]] for k in range(4)]
    root = [[300, 60], [900, 800]]
    for ends in (*straws, root):
        drawn(rgb, ends, TAN)
    return rgb, np.any([pixels(ends) for ends in (*straws, root)], axis=0)


def test_straw_on_the_pit_floor_is_not_read() -> None:
    rgb, mask = on_a_floor()
    image = wall(rgb)
    found = look_again(RootMap(np.where(mask, 0.9, 0.0).astype(np.float32), mask, image.grid), image)
    assert found.floor_in == pytest.approx(1253 / PX_PER_IN, abs=FLOOR_TOLERANCE_IN)
    assert not found.mask[1300:].any() and not found.probability[1300:].any()
    assert np.array_equal(found.mask[:1200], mask[:1200])
    assert any("ends at what looks like a pit floor" in caution for caution in found.told)


def test_roots_that_pass_the_line_make_it_a_horizon() -> None:
    rgb, mask = on_a_floor()
    for x in (300, 600, 900, 1200):
        mask = mask | pixels([[x, 700], [x + 40, 1450]])
    assert floor_row(half_wall(wall(rgb)), mask[::2, ::2]) is None


def test_a_wall_that_goes_on_to_the_pictures_edge_has_no_floor() -> None:
    rgb = soil()
    root = [[300, 60], [900, 1450]]
    drawn(rgb, root, TAN)
    assert floor_row(half_wall(wall(rgb)), pixels(root)[::2, ::2]) is None

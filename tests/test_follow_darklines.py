"""Dark lines between roots, worked out where they are asked about."""

import numpy as np
import pytest

from rootread.follow.darklines import DarkLines, dark_line_strength


@pytest.mark.parametrize("size", [(300, 700), (129, 257), (128, 256), (5, 3)])
def test_tiles_are_as_the_whole_picture(size: tuple[int, int]) -> None:
    rng = np.random.default_rng(3)
    rgb = rng.integers(0, 256, (*size, 3), dtype=np.uint8)
    hidden = rng.random(size) < 0.2
    lines = DarkLines(rgb, hidden)
    whole = np.where(hidden, 0, dark_line_strength(rgb))
    row, column = (rng.integers(0, side, 20) for side in size)
    assert np.array_equal(lines[row, column], whole[row, column])
    everywhere = np.mgrid[: size[0], : size[1]]
    assert np.array_equal(lines[everywhere[0], everywhere[1]], whole)


def test_a_dark_line_is_stronger_than_its_sides() -> None:
    rgb = np.full((40, 40, 3), 180, np.uint8)
    rgb[:, 20] = 60
    strength = DarkLines(rgb, np.zeros((40, 40), dtype=bool))[np.full(3, 20), np.array([5, 20, 35])]
    assert strength[1] > 0.1
    assert strength[[0, 2]].max() < 0.01


def test_nothing_is_asked() -> None:
    nowhere = np.zeros(0, dtype=np.int64)
    lines = DarkLines(np.zeros((9, 9, 3), np.uint8), np.zeros((9, 9), dtype=bool))
    assert lines[nowhere, nowhere].shape == (0,)

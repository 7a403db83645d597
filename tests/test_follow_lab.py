"""Colours as an eye parts them."""

import cv2
import numpy as np

from rootread.follow.lab import lab_of


def test_colours_are_those_of_opencv() -> None:
    # Every third value of each channel, and all greys.
    channel = np.append(np.arange(0, 256, 3), 254).astype(np.uint8)
    rgb = np.stack(np.meshgrid(channel, channel, channel), axis=-1).reshape(-1, 3)
    greys = np.repeat(np.arange(256, dtype=np.uint8)[:, None], 3, axis=1)
    rgb = np.concatenate([rgb, greys])
    assert np.array_equal(lab_of(rgb), cv2.cvtColor(rgb[None], cv2.COLOR_RGB2LAB)[0])


def test_no_colours() -> None:
    assert lab_of(np.zeros((0, 3), np.uint8)).shape == (0, 3)

"""The trained network as a function of a picture."""

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from rootread.threads import open_network

Image = NDArray[np.float32]

Bytes = NDArray[np.uint8]

WEIGHTS = "weights/roots.onnx"
INPUT, ANSWER = "picture", "answer"
FEATURES = ("fine", "coarse", "deep")


@dataclass(frozen=True, eq=False)
class Answer:
    """What the network says of one picture of ``(m, n)`` pixels, multiples of 32."""

    logit: Image
    """``(m, n)`` log odds that the pixel shows a root."""
    shape: Image
    """``(3, m/2, n/2)`` cosine and sine of twice the direction, logarithm of the half-width in pixels."""
    deep: Bytes
    """``(192, m/32, n/32)`` features of the deepest level, in the network's own whole numbers."""


@dataclass(frozen=True, eq=False)
class FullAnswer(Answer):
    """The same with all features."""

    fine: Bytes
    """``(16, m/2, n/2)`` features from which root and shape are read off."""
    coarse: Bytes
    """``(48, m/4, n/4)`` features of the level below."""


class Session:
    """The network of a weights file."""

    def __init__(self, weights: bytes) -> None:
        self._session = open_network(weights)

    def __call__(self, rgb: Bytes) -> Answer:
        """``(m, n, 3)`` sRGB in; without the features of the finest levels, which take memory."""
        answer, deep = self._session.run([ANSWER, "deep"], {INPUT: blocks_of(rgb)})
        return Answer(*_by_pixel(answer[0]), deep[0])

    def with_features(self, rgb: Bytes) -> FullAnswer:
        """The same with all features."""
        answer, *features = self._session.run([ANSWER, *FEATURES], {INPUT: blocks_of(rgb)})
        fine, coarse, deep = (found[0] for found in features)
        return FullAnswer(*_by_pixel(answer[0]), deep, fine, coarse)


def blocks_of(rgb: Bytes) -> Bytes:
    """``(1, m/2, n/2, 12)``: the bytes of each block of 2 x 2 pixels together, row by row."""
    rows, columns = rgb.shape[0] // 2, rgb.shape[1] // 2
    blocks = np.empty((1, rows, columns, 2, 6), np.uint8)
    for row in range(2):
        blocks[0, :, :, row] = rgb[row::2].reshape(rows, columns, 6)
    return blocks.reshape(1, rows, columns, 12)


def _by_pixel(answer: Image) -> tuple[Image, Image]:
    """Logit of each pixel and shape of each block, from the ``(m/2, n/2, 7)`` answers."""
    rows, columns, _ = answer.shape
    logit = np.empty((2 * rows, 2 * columns), np.float32)
    for place in range(4):
        logit[place // 2 :: 2, place % 2 :: 2] = answer[..., place]
    return logit, np.moveaxis(answer[..., 4:], -1, 0)


@lru_cache(maxsize=1)
def shipped() -> Session:
    """The network that comes with the package."""
    return Session(files("rootread.find").joinpath(WEIGHTS).read_bytes())

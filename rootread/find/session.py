"""The trained network as a function of a picture."""

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from rootread.threads import open_network

Image = NDArray[np.float32]

WEIGHTS = "weights/roots.onnx"
OUTPUTS = ("root_logit", "shape", "fine", "coarse", "deep")


@dataclass(frozen=True, eq=False)
class Answer:
    """What the network says of one picture of ``(m, n)`` pixels, multiples of 32."""

    logit: Image
    """``(m, n)`` log odds that the pixel shows a root."""
    shape: Image
    """``(3, m/2, n/2)`` cosine and sine of twice the direction, logarithm of the half-width in pixels."""
    fine: Image
    """``(16, m/2, n/2)`` features from which root and shape are read off, where asked for."""
    coarse: NDArray[np.uint8]
    """``(48, m/4, n/4)`` features of the level below, in the network's own whole numbers."""
    deep: NDArray[np.uint8]
    """``(192, m/32, n/32)`` features of the deepest level, likewise."""


class Session:
    """The network of a weights file."""

    def __init__(self, weights: bytes) -> None:
        self._session = open_network(weights)

    def __call__(self, blob: Image) -> Answer:
        """``(1, 3, m, n)`` values 0 to 1 in; without the features of the finest levels, which take memory."""
        logit, shape, deep = self._session.run(["root_logit", "shape", "deep"], {"rgb": blob})
        none = np.empty((0, 0, 0))
        return Answer(logit[0, 0], shape[0], none.astype(np.float32), none.astype(np.uint8), deep[0])

    def with_features(self, blob: Image) -> Answer:
        """The same with all features."""
        logit, *others = self._session.run(list(OUTPUTS), {"rgb": blob})
        return Answer(logit[0, 0], *(found[0] for found in others))


@lru_cache(maxsize=1)
def shipped() -> Session:
    """The network that comes with the package."""
    return Session(files("rootread.find").joinpath(WEIGHTS).read_bytes())

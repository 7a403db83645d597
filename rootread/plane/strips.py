"""A bar straightened into an upright strip, and even marks along it counted.

Strip coordinates: u across, 0 on the left side and 1 on the right; s along in
pixels, 0 where the bar enters the photo at its upper end. Even marks on a bar
seen in perspective lie where a 1-D projective map puts them:

    s(k) = (a + b k) / (1 + c k)
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points
from rootread.plane.bars import Bar
from rootread.plane.camera import Floats


@dataclass(frozen=True, eq=False)
class Strip:
    """The photo along a bar."""

    tones: NDArray[np.float32]
    """``(S, U)``: a row a pixel along the bar; NaN outside the photo."""
    u: Floats
    """``(U,)`` where the columns are."""
    bar: Bar

    def to_photo(self, u: Floats, s: Floats) -> Points:
        """Strip places to photo pixels."""
        share = (np.asarray(s) / self.bar.length_px)[:, None]
        left = self.bar.left[0] + share * (self.bar.left[1] - self.bar.left[0])
        right = self.bar.right[0] + share * (self.bar.right[1] - self.bar.right[0])
        return left + np.asarray(u)[:, None] * (right - left)

    def columns(self, low: float, high: float) -> NDArray[np.float32]:
        """The strip between two places across."""
        return self.tones[:, (self.u >= low) & (self.u <= high)]


def straighten(picture: NDArray[np.float32], bar: Bar, columns: int, margin: float) -> Strip:
    """Read the photo along a bar, ``margin`` of its width to both sides included."""
    rows = int(bar.length_px)
    u = np.linspace(-margin, 1.0 + margin, columns)
    share = (np.arange(rows) / bar.length_px)[:, None, None]
    left = bar.left[0] + share * (bar.left[1] - bar.left[0])
    right = bar.right[0] + share * (bar.right[1] - bar.right[0])
    at = (left + u[None, :, None] * (right - left)).astype(np.float32)
    tones = cv2.remap(
        picture,
        at[..., 0],
        at[..., 1],
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=np.nan,
    )
    return Strip(tones, u, bar)


@dataclass(frozen=True, eq=False)
class EvenMarks:
    """Marks counted along a bar: the ``k``-th lies at ``at(k)``."""

    a: float
    b: float
    c: float
    k: NDArray[np.int64]
    """``(K,)`` which marks were found."""
    s: Floats
    """``(K,)`` where, px along the strip."""

    def at(self, k: Floats | NDArray[np.int64]) -> Floats:
        """Places along the strip of any marks."""
        return (self.a + self.b * k) / (1.0 + self.c * k)

    def spacing(self, k: Floats | NDArray[np.int64]) -> Floats:
        """Distance between neighbours at a mark, ds/dk = (b - a c) / (1 + c k)^2."""
        return (self.b - self.a * self.c) / (1.0 + self.c * k) ** 2

    @property
    def residual(self) -> float:
        """Root mean square of found against fitted places, in spacings."""
        return float(np.sqrt(np.mean(((self.s - self.at(self.k)) / self.spacing(self.k)) ** 2)))


def fit_even_marks(k: NDArray[np.int64], s: Floats, weight: Floats | None = None) -> EvenMarks:
    """Least squares for a, b and c; linear after multiplying out: s = a + b k - c k s.

    ``c`` is held back by a weak prior, so that a few marks close together do
    not bend the map.
    """
    weight = np.ones(len(k)) if weight is None else weight
    centre = float(np.mean(k))
    kk = k - centre
    span = max(float(np.ptp(kk)), 1.0)
    spacing = max(float(np.ptp(s)) / span, 1e-6)
    middle = float(np.mean(s))
    ss = (s - middle) / spacing
    design = np.column_stack([np.ones(len(kk)), kk, -kk * ss]) * weight[:, None]
    # A bar that shrinks by a third over its length is already pitched by 25 degrees or more.
    hold = np.array([0.0, 0.0, 0.1 * span])
    found, *_ = np.linalg.lstsq(np.vstack([design, hold]), np.append(ss * weight, 0.0), rcond=None)
    a, b, c = found
    # Undo the centring: s = middle + spacing (a + b kk) / (1 + c kk), kk = k - centre.
    scale = 1.0 - c * centre
    numerator_0 = middle * scale + spacing * (a - b * centre)
    numerator_1 = middle * c + spacing * b
    return EvenMarks(numerator_0 / scale, numerator_1 / scale, c / scale, np.asarray(k), np.asarray(s))

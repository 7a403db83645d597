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
from rootread.plane.sightings import Floats

# Tones are compared as logarithms, so that shadow shifts them without changing contrast; this
# much of full light is added for stray light.
STRAY_LIGHT = 0.02


# Places across a strip, which shows this share of its width beyond both sides too.
STRIP_COLUMNS = 69
STRIP_MARGIN = 0.35
# A bar's sides are followed within this share of its width of where the straight lines put them,
# in so many pieces along it.
SIDE_REACH = 0.2
SIDE_PIECES = 32
SIDE_COLUMNS = 57
# Pieces further than this from the smooth side, as a share of the width, are roots, dust or shadow.
SIDE_OUTLIER = 0.04


@dataclass(frozen=True, eq=False)
class Strip:
    """The photo along a bar."""

    tones: NDArray[np.float32]
    """``(S, U)``: a row a pixel along the bar; NaN outside the photo."""
    u: Floats
    """``(U,)`` where the columns are."""
    bar: Bar
    sides: Floats
    """``(2, 3)`` quadratics of how far the left and the right side lie from the bar's straight ones, as
    shares of its width, over -1 to 1 along it."""
    followed: tuple[bool, bool]
    """Whether the left and the right side were seen along enough of the bar."""

    def to_photo(self, u: Floats, s: Floats) -> Points:
        """Strip places to photo pixels."""
        left, right = _side_places(self.bar, self.sides, np.asarray(s, dtype=float))
        return left + np.asarray(u)[:, None] * (right - left)

    def columns(self, low: float, high: float) -> NDArray[np.float32]:
        """The strip between two places across."""
        return self.tones[:, (self.u >= low) & (self.u <= high)]


def _side_places(bar: Bar, sides: Floats, s: Floats) -> tuple[Points, Points]:
    """``(S, 2)`` photo places of the left and of the right side at distances ``s`` along the bar."""
    share = s / bar.length_px
    left_off, right_off = (np.polyval(side, 2.0 * share - 1.0)[:, None] for side in sides)
    left = bar.left[0] + share[:, None] * (bar.left[1] - bar.left[0])
    right = bar.right[0] + share[:, None] * (bar.right[1] - bar.right[0])
    return left + left_off * (right - left), right + right_off * (right - left)


def straighten(picture: NDArray[np.float32], bar: Bar) -> Strip:
    """Read the photo along a bar.

    A lens bows a straight bar by some pixels, so its sides are followed first.
    """
    sides, followed = follow_sides(picture, bar)
    u = np.linspace(-STRIP_MARGIN, 1.0 + STRIP_MARGIN, STRIP_COLUMNS)
    return Strip(_read(picture, bar, sides, u, int(bar.length_px)), u, bar, sides, followed)


def follow_sides(picture: NDArray[np.float32], bar: Bar) -> tuple[Floats, tuple[bool, bool]]:
    """``(2, 3)`` the sides of a bar as quadratics about its straight ones, and which of them were seen."""
    u = np.linspace(-2 * SIDE_REACH, 1 + 2 * SIDE_REACH, SIDE_COLUMNS)
    rows = max(int(bar.length_px) // 4, SIDE_PIECES)
    tones = np.log(_read(picture, bar, np.zeros((2, 3)), u, rows) + STRAY_LIGHT)
    size = rows // SIDE_PIECES
    pieces = tones[: size * SIDE_PIECES].reshape(SIDE_PIECES, size, -1)
    # The bar differs from the soil in the mean of a piece, and band by band; both count.
    step = np.abs(np.diff(pieces, axis=2)).mean(axis=1) + np.abs(np.diff(pieces.mean(axis=1), axis=1))
    at = 0.5 * (u[1:] + u[:-1])
    along = (np.arange(SIDE_PIECES) + 0.5) / SIDE_PIECES * 2.0 - 1.0
    curves: list[Floats | None] = []
    for side in (0, 1):
        near = np.abs(at - side) <= SIDE_REACH
        height = np.where(np.isfinite(step[:, near]), step[:, near], -1.0)
        off = at[near][height.argmax(axis=1)] - side
        curves.append(_steady_quadratic(along, off, height.max(axis=1) > 0))
    sides = np.array([np.zeros(3) if curve is None else curve for curve in curves])
    return sides, (curves[0] is not None, curves[1] is not None)


def _steady_quadratic(along: Floats, off: Floats, usable: NDArray[np.bool_]) -> Floats | None:
    """The quadratic that most pieces of a side agree with; None where too few do."""
    used = usable & (np.abs(off - np.median(off[usable])) < 2 * SIDE_OUTLIER) if usable.any() else usable
    for _ in range(4):
        if used.sum() < SIDE_PIECES // 3:
            return None
        # Held back by a weak wish for a straight side, for bars seen over a short stretch only.
        design = np.vstack([np.vander(along[used], 3), np.diag([0.5, 0.2, 0.0])])
        curve, *_ = np.linalg.lstsq(design, np.append(off[used], np.zeros(3)), rcond=None)
        used = usable & (np.abs(off - np.polyval(curve, along)) < SIDE_OUTLIER)
    return curve


def _read(picture: NDArray[np.float32], bar: Bar, sides: Floats, u: Floats, rows: int) -> NDArray[np.float32]:
    """``(rows, U)`` of the photo along a bar."""
    left, right = _side_places(bar, sides, np.linspace(0.0, bar.length_px * (1 - 1 / rows), rows))
    columns, lines = (
        (left[:, k, None] + u * (right[:, k, None] - left[:, k, None])).astype(np.float32) for k in (0, 1)
    )
    return cv2.remap(
        picture,
        columns,
        lines,
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=float("nan"),
    )


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
        return np.asarray((self.a + self.b * k) / (1.0 + self.c * k), dtype=np.float64)

    def spacing(self, k: Floats | NDArray[np.int64]) -> Floats:
        """Distance between neighbours at a mark, ds/dk = (b - a c) / (1 + c k)^2."""
        return np.asarray((self.b - self.a * self.c) / (1.0 + self.c * k) ** 2, dtype=np.float64)

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

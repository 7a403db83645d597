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
    off = np.zeros((2, SIDE_PIECES))
    usable = np.zeros((2, SIDE_PIECES), dtype=bool)
    for side in (0, 1):
        near = np.abs(at - side) <= SIDE_REACH
        height = np.where(np.isfinite(step[:, near]), step[:, near], -1.0)
        off[side] = at[near][height.argmax(axis=1)] - side
        usable[side] = height.max(axis=1) > 0
    return _bent_alike(along, off, usable)


def _bent_alike(along: Floats, off: Floats, usable: NDArray[np.bool_]) -> tuple[Floats, tuple[bool, bool]]:
    """A quadratic for each side that most of its pieces agree with, both bent alike, as a lens does.

    Parameters
    ----------
    along : ``(P,)`` places along the bar, -1 to 1.
    off : ``(2, P)`` how far each piece of each side lies from the straight one.
    usable : ``(2, P)``.

    Returns
    -------
    ``(2, 3)`` quadratics, 0 for a side that too few pieces agree on, and whether each side was seen.
    """
    used = usable.copy()
    for side in (0, 1):
        if usable[side].any():
            used[side] &= np.abs(off[side] - np.median(off[side][usable[side]])) < 2 * SIDE_OUTLIER
    sides = np.zeros((2, 3))
    for _ in range(4):
        followed = used.sum(axis=1) >= SIDE_PIECES // 3
        used &= followed[:, None]
        if not followed.any():
            return np.zeros((2, 3)), (False, False)
        # Unknowns: the common bend, then slope and place of the left side, then of the right.
        rows = []
        for side in (0, 1):
            row = np.zeros((int(used[side].sum()), 5))
            row[:, 0] = along[used[side]] ** 2
            row[:, 1 + 2 * side] = along[used[side]]
            row[:, 2 + 2 * side] = 1.0
            rows.append(row)
        # Held back by a weak wish for a straight bar, for those seen over a short stretch only.
        design = np.vstack([*rows, np.diag([1.0, 0.2, 0.01, 0.2, 0.01])])
        wanted = np.concatenate([off[0][used[0]], off[1][used[1]], np.zeros(5)])
        bend, *places = np.linalg.lstsq(design, wanted, rcond=None)[0]
        sides = np.array([[bend, *places[:2]], [bend, *places[2:]]])
        fitted = np.stack([np.polyval(curve, along) for curve in sides])
        used = usable & (np.abs(off - fitted) < SIDE_OUTLIER)
    return sides, (bool(followed[0]), bool(followed[1]))


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

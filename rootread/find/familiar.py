"""Is this photo like anything that the network was trained on, and if not, in what?

The network's deepest features of a piece of wall are compared with those of
made training walls: the Mahalanobis distance, by their mean and covariance
(Lee and others 2018, arXiv:1807.03888, from memory). A wall is unfamiliar when
its middling piece is farther off than 19 in 20 training pieces. What a person
can see and change - light, colour, sharpness, texture - is measured on the
same pieces, so that the warning can say what is unusual.
"""

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.find.tiles import STRIDE_PX
from rootread.photo import to_lab
from rootread.threads import share_out

Features = NDArray[np.float32]
Mask = NDArray[np.bool_]

STATISTICS = "weights/familiar.npz"
PIECE_CELLS = 8
"""A piece is so many cells of the deepest level wide: 256 px, 2.5 to 6 in of wall."""
PIECES = 24
"""More pieces of one wall tell nothing new."""
LEAST_SOIL = 0.95
"""Pieces with less soil than this say more of the scale object or the sky."""
UNUSUAL_SPREADS = 1.7
"""A trait of the picture is named where it is off by so many standard deviations of training walls."""
EXTREME_SPREADS = 2.4
"""And where one is off by so many, the wall counts as unfamiliar whatever the network makes of it."""
FINE_PX, MIDDLE_PX, BROAD_PX = 1.0, 4.0, 16.0
"""Blurs between which sharpness, texture and shading are told apart."""

TRAITS = ("lightness", "redness", "yellowness", "shading", "sharpness", "texture")
LIGHTNESS = TRAITS.index("lightness")
# What a person sees where a trait is low or high, and what to do about it.
WORDS: dict[str, tuple[tuple[str, str], tuple[str, str]]] = {
    "lightness": (
        ("it is very dark", "Give more light or a longer exposure."),
        ("it is very bright", "Expose for the wall, not for the pit's shade."),
    ),
    "redness": (
        ("its colour is greener than soils are", "Check the white balance; keep coloured light off."),
        ("its colour is redder than soils are", "Check the white balance."),
    ),
    "yellowness": (
        ("its colour is bluer than soils are", "Check the white balance: cloudy or shade, not indoor light."),
        ("its colour is yellower than soils are", "Check the white balance."),
    ),
    "shading": (
        ("it has hardly any light and dark", "Take haze or fog off the lens."),
        ("light and shade on it are very strong", "Shade the whole wall, or wait for cloud."),
    ),
    "sharpness": (
        ("it is not sharp", "Hold the camera still, focus on the wall, and wipe the lens."),
        ("it is grainy or sharpened", "Take it in more light, without filters."),
    ),
    "texture": (
        ("the face is smoother than walls are", "Brush it until crumbs and roots stand out."),
        ("the face is rougher than walls are", "Clean off loose clods and straw."),
    ),
}  # fmt: skip


@dataclass(frozen=True, eq=False)
class Pieces:
    """What pieces of one picture look like."""

    deep: Features
    """``(K, F)`` the network's deepest features, their mean over each piece."""
    traits: Features
    """``(K, 6)`` in the order of ``TRAITS``."""


@dataclass(frozen=True, eq=False)
class Familiar:
    """Training walls in numbers."""

    mean: Features
    """``(F,)`` of the deepest features."""
    whitener: Features
    """``(F, F)`` takes differences from the mean to uncorrelated units of spread."""
    far: float
    """Distance that 1 in 20 training pieces exceeds; the middling piece of walls lies at 0.4 to 0.97, in
    soils never learnt from farther off than in others."""
    trait_mean: Features
    trait_spread: Features
    """``(6,)`` each."""

    def distance(self, deep: Features) -> Features:
        """``(K,)`` root mean square distance from training walls over the features; 1 is ordinary."""
        return np.sqrt(np.mean(((deep - self.mean) @ self.whitener) ** 2, axis=1))


@lru_cache(maxsize=1)
def training_walls() -> Familiar:
    """The statistics that come with the weights."""
    with files("rootread.find").joinpath(STATISTICS).open("rb") as file, np.load(file) as kept:
        numbers = {name: kept[name].astype(np.float32) for name in kept.files}
    return Familiar(**(numbers | {"far": float(numbers["far"])}))


def pieces_of(rgb: NDArray[np.uint8], deep: NDArray[np.uint8], soil: Mask) -> Pieces:
    """Pieces of soil spread over a picture.

    Parameters
    ----------
    rgb : ``(M, N, 3)`` sRGB as the network saw it.
    deep : ``(ceil(M/32), ceil(N/32), F)`` its deepest features.
    soil : ``(M, N)`` where roots may be.
    """
    corners = _corners(soil)
    features = []
    for row, column in corners:
        cell = np.s_[row // STRIDE_PX :, column // STRIDE_PX :]
        features.append(deep[cell][:PIECE_CELLS, :PIECE_CELLS].mean(axis=(0, 1)))
    return Pieces(np.array(features, np.float32).reshape(-1, deep.shape[-1]), _traits(rgb, corners))


def light_words(rgb: NDArray[np.uint8], soil: Mask, walls: Familiar) -> tuple[str, str] | None:
    """What is unusual in how light a wall is, and what to do about it; asked without the network's answer.

    Wherever ``unfamiliar`` names the light, this does so in the same words. It does so on a few walls more,
    of dark soil for instance, which the network takes as they are: while the pit is open light costs little.
    """
    traits = _traits(rgb, _corners(soil))
    if not len(traits):
        return None
    off = float(_off(traits, walls)[LIGHTNESS])
    return WORDS["lightness"][int(off > 0)] if abs(off) > UNUSUAL_SPREADS else None


def _off(traits: Features, walls: Familiar) -> Features:
    """``(6,)`` how far the middling piece is off, in standard deviations of training walls."""
    off: Features = (np.median(traits, axis=0) - walls.trait_mean) / walls.trait_spread
    return off


def _corners(soil: Mask) -> list[tuple[int, int]]:
    """Row and column at which pieces of soil begin, spread over a picture."""
    side = PIECE_CELLS * STRIDE_PX
    corners = [
        (row, column)
        for row in range(0, soil.shape[0] - side + 1, side)
        for column in range(0, soil.shape[1] - side + 1, side)
        if soil[row : row + side : 4, column : column + side : 4].mean() > LEAST_SOIL
    ]
    spread = np.linspace(0, len(corners) - 1, min(len(corners), PIECES)).round().astype(int)
    return [corners[k] for k in spread]


def _traits(rgb: NDArray[np.uint8], corners: list[tuple[int, int]]) -> Features:
    """``(K, 6)`` traits of the pieces that begin there."""
    side = PIECE_CELLS * STRIDE_PX
    pieces = [rgb[row : row + side, column : column + side] for row, column in corners]
    return np.array(share_out(traits_of, pieces), np.float32).reshape(-1, len(TRAITS))


def traits_of(rgb: NDArray[np.uint8]) -> list[float]:
    """Lightness and colour (CIE L*, a*, b*), and logarithms of shading, sharpness and texture, of a piece."""
    lab = to_lab(rgb)
    light = lab[..., 0]
    fine, middle = (cv2.GaussianBlur(light, (0, 0), blur) for blur in (FINE_PX, MIDDLE_PX))
    # A quarter of the pixels each way are enough for a blur so broad, at a fortieth of the work.
    few = cv2.resize(light, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    broad = cv2.GaussianBlur(few, (0, 0), BROAD_PX / 4)
    finest, texture = (float(np.abs(a - b).mean()) + 0.05 for a, b in ((light, fine), (fine, middle)))
    shading = float(broad.std()) + 0.5
    lightness, redness, yellowness = (float(v) for v in lab.mean(axis=(0, 1)))
    return [
        lightness,
        redness,
        yellowness,
        np.log(shading),
        np.log(finest / texture),
        np.log(texture / (lightness + 10.0)),
    ]


def unfamiliar(pieces: Pieces, walls: Familiar) -> str | None:
    """What to tell a person where a wall is unlike all training walls, else None."""
    if not len(pieces.deep):
        return None
    off = _off(pieces.traits, walls)
    if np.median(walls.distance(pieces.deep)) <= walls.far and np.abs(off).max() <= EXTREME_SPREADS:
        return None
    # Light first: it is what can be mended soonest, and what a check of the photo tells.
    order = sorted(range(len(off)), key=lambda k: (k != LIGHTNESS, -abs(off[k])))
    unusual = [k for k in order if abs(off[k]) > UNUSUAL_SPREADS][:2]
    words = [WORDS[TRAITS[k]][int(off[k] > 0)] for k in unusual]
    what = " and ".join(word for word, _ in words) or "its pattern is of no soil it knows"
    remedy = " ".join(remedy for _, remedy in words)
    return (
        f"This photo is unlike those that the finder was trained on: {what}. {remedy} "
        "Compare the picture with the wall before using its figures. A few strokes painted at the desk, "
        "root here and soil there, can teach the finder this soil: the list of commands says how."
    ).replace("  ", " ")

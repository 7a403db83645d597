"""A second look at what a finder took for root: its colour, where the wall ends, and the cracks beside it."""

from dataclasses import replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.components import components
from rootread.find.cracks import crack_map
from rootread.find.floor import floor_row
from rootread.find.hairs import surer_by
from rootread.find.halfsize import half_wall
from rootread.find.likeness import likeness
from rootread.find.types import RootMap
from rootread.plane.types import WallImage

Mask = NDArray[np.bool_]

ODD = -0.5
"""Mean log odds, with the likeness to other roots, under which a piece is no root. On 140 made walls this
takes off 35 % of the length of false pieces, and 4 % of that of true ones, hairs among them."""
LEAST_ODDS = 1e-3


def look_again(root_map: RootMap, image: WallImage) -> RootMap:
    """The root map without odd pieces and without what lies on the pit floor."""
    half = half_wall(image)
    mask = root_map.mask
    if root_map.half_width_px is not None:
        factor = likeness(half, mask[::2, ::2]) * np.exp(surer_by(root_map.half_width_px))
        mask = without_odd_pieces(mask, root_map.probability[::2, ::2], factor)
    on = mask[::2, ::2]
    floor = floor_row(half, on)
    floor_in = None
    probability = root_map.probability
    if floor is not None and on[floor:].any():
        mask, probability = mask.copy(), probability.copy()
        mask[2 * floor :], probability[2 * floor :] = False, 0.0
        on = mask[::2, ::2]
        floor_in = float(image.grid.to_in([[0.0, 2.0 * floor]])[0, 1])
    return replace(root_map, probability=probability, mask=mask, floor_in=floor_in)


def with_cracks(root_map: RootMap, image: WallImage) -> RootMap:
    """The root map of a wall with its cracks, by which measuring tells what flattened a root."""
    crack = crack_map(half_wall(image), root_map.mask[::2, ::2])
    return replace(root_map, crack=doubled(crack, root_map.mask.shape))


def without_odd_pieces(mask: Mask, probability: NDArray[np.float32], factor: NDArray[np.float32]) -> Mask:
    """A mask ``(M, N)`` less the pieces that neither the network nor the other roots speak for.

    ``probability``, and the ``factor`` on its odds by likeness to the other roots and by thinness, are at
    half resolution.
    """
    pieces = components(mask)
    row, column = np.divmod(pieces.at, mask.shape[1])
    of_half = (row % 2 == 0) & (column % 2 == 0)
    piece, half = pieces.of[of_half], (row[of_half] // 2, column[of_half] // 2)
    stated = np.clip(probability[half], LEAST_ODDS, 1 - LEAST_ODDS)
    odds = np.log(stated / (1 - stated)) + np.log(factor[half])
    total = np.bincount(piece, odds, minlength=pieces.count)
    return pieces.mask(total > ODD * np.maximum(np.bincount(piece, minlength=pieces.count), 1))


def doubled(values: NDArray[Any], shape: tuple[int, ...]) -> NDArray[Any]:
    """Half-resolution values on all pixels of a picture."""
    size = (2 * values.shape[1], 2 * values.shape[0])
    raw = values.view(np.uint8) if values.dtype == bool else values
    return cv2.resize(raw, size, interpolation=cv2.INTER_NEAREST)[: shape[0], : shape[1]].view(values.dtype)

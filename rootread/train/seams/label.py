"""Where two roots meet: what the network is to say, from which root each pixel shows."""

import math

import torch
import torch.nn.functional as F  # noqa: N812
from torch import Tensor

SOIL, BESIDE, ROOT, SEAM = range(4)
"""What a pixel is labelled; all but bare soil is learnt from in full."""
THICK_HALF_PX, THICKEST_HALF_PX = 3.0, 6.0
"""Half-widths from which a root gives two and three pixels of its side to a seam; thinner ones give one."""
BESIDE_PX = 2
"""As far beyond a root's edge a root mask may reach; roots no farther apart than that meet in it."""


def seam_labels(root: Tensor, half_width_px: Tensor) -> Tensor:
    """``(B, S, S)`` uint8 labels, from which root a pixel shows (-1: none) and half its width."""
    known = root >= 0
    by_two = _sees_two(root, 2)
    seam = known & _sees_two(root, 1)
    seam |= known & (half_width_px >= THICK_HALF_PX) & by_two
    seam |= known & (half_width_px >= THICKEST_HALF_PX) & _sees_two(root, 3)
    seam |= ~known & by_two
    label = F.max_pool2d(known.float()[:, None], 2 * BESIDE_PX + 1, 1, BESIDE_PX)[:, 0] * BESIDE
    label[known], label[seam] = ROOT, SEAM
    return label.to(torch.uint8)


def _sees_two(root: Tensor, radius_px: int) -> Tensor:
    """``(B, S, S)`` whether two different roots show within a radius."""
    most = root.float()
    least = torch.where(root >= 0, most, torch.inf)
    high, low = most, least
    reach = range(-radius_px, radius_px + 1)
    for down in reach:
        for right in reach:
            if math.hypot(down, right) <= radius_px:
                high = torch.maximum(high, _looked_up(most, down, right))
                low = torch.minimum(low, _looked_up(least, down, right))
    return (high != low) & (high >= 0)


def _looked_up(field: Tensor, down: int, right: int) -> Tensor:
    """A field looked up so many pixels on; beyond its edge, the edge."""
    pad = max(abs(down), abs(right))
    wide = F.pad(field[:, None], (pad,) * 4, mode="replicate")[:, 0]
    side = field.shape[-1]
    return wide[:, pad + down : pad + down + side, pad + right : pad + right + side]

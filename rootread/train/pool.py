"""A store of walls on the GPU, photographed anew each time one is learnt from.

Making a wall costs more than a step of learning; turning, mirroring, zooming
and another camera make one wall good for several looks.
"""

from dataclasses import dataclass

import torch
import torch.nn.functional as F  # noqa: N812
from torch import Tensor

from rootread.train import camera
from rootread.train.light import far_shadow
from rootread.train.maker import Walls
from rootread.train.noise import chance, uniform


@dataclass(frozen=True)
class Examples:
    """A batch to learn from."""

    rgb: Tensor
    """``(B, 3, S, S)`` 0 to 1."""
    root: Tensor
    """``(B, S, S)`` share of the pixel that shows root."""
    half_width: Tensor
    """``(B, S, S)`` pixels."""
    direction: Tensor
    """``(B, 2, S, S)`` cos 2a, sin 2a."""
    weight: Tensor
    """``(B, S, S)`` how much a pixel counts."""


class Pool:
    """The last ``size`` walls given to it."""

    def __init__(self, size: int, side: int, device: torch.device | str) -> None:
        shapes = ((size, 3, side, side), (size, side, side), (size, side, side), (size, 2, side, side))
        self.stored = [torch.zeros(shape, dtype=torch.float16, device=device) for shape in shapes]
        self.size = size
        self.added = 0

    def add(self, walls: Walls) -> None:
        """Store a batch over the oldest ones."""
        count = len(walls.root)
        at = (torch.arange(count) + self.added) % self.size
        for stored, field in zip(self.stored, walls.fields(), strict=True):
            stored[at.to(stored.device)] = field.to(stored.device, torch.float16)
        self.added += count

    def draw(self, draw: torch.Generator, count: int) -> Walls:
        """Walls at random, each turned and mirrored one of eight ways."""
        filled = min(self.added, self.size)
        at = torch.randint(filled, (count,), generator=draw, device=draw.device)
        return turned(draw, Walls(*(stored[at].float() for stored in self.stored)))


def turned(draw: torch.Generator, walls: Walls) -> Walls:
    """Mirrored left-right and across the diagonal, each with one half chance."""
    linear, root, width, direction = walls.fields()
    count = len(root)
    mirrored = uniform(draw, (count, 1, 1)) < 0.5
    swapped = uniform(draw, (count, 1, 1)) < 0.5

    def turn(field: Tensor) -> Tensor:
        shape = (count,) + (1,) * (field.ndim - 1)
        field = torch.where(mirrored.view(shape), field.flip(-1), field)
        return torch.where(swapped.view(shape), field.transpose(-1, -2), field)

    cosine, sine = turn(direction).unbind(1)
    # Mirroring takes a to -a, swapping the axes takes a to 90 degrees - a.
    sine = torch.where(mirrored, -sine, sine)
    cosine = torch.where(swapped, -cosine, cosine)
    return Walls(turn(linear), turn(root), turn(width), torch.stack([cosine, sine], 1))


def photograph(draw: torch.Generator, linear: Tensor) -> Tensor:
    """sRGB-like picture with the faults of the camera, each picture with its own."""
    rgb = camera.blur_and_noise(draw, camera.expose(draw, linear))
    compressed = chance(draw, len(rgb), 0.7)[:, None]
    quality = uniform(draw, (len(rgb),), 35.0, 98.0)
    return rgb * (1 - compressed) + camera.jpeg(rgb, quality) * compressed


def examples(draw: torch.Generator, walls: Walls, side: int, faults: float = 1.0) -> Examples:
    """Photographs of walls, ``side`` px, with a share ``faults`` of them given new camera faults."""
    plain = walls.linear.clamp(1e-5, 1.0) ** (1 / 2.2)
    count, full = len(plain), plain.shape[-1]
    shaded = 1 - (1 - far_shadow(draw, count, full)) * 0.7 * chance(draw, count, 0.3)
    shot = photograph(draw, walls.linear * shaded[:, None])
    rgb = torch.where((chance(draw, count, faults) > 0)[:, None], shot, plain)
    return _reframed(draw, rgb, walls, side)


def _reframed(draw: torch.Generator, rgb: Tensor, walls: Walls, side: int) -> Examples:
    """A window of the picture, resampled by 0.8 to 1.25 for most, with its truth."""
    count, full = len(rgb), rgb.shape[-1]
    zoom = torch.exp(uniform(draw, (count,), -0.22, 0.22) * (uniform(draw, (count,)) < 0.7))
    size = side / full / zoom
    turn = torch.zeros(count, 2, 3, device=rgb.device)
    turn[:, 0, 0] = turn[:, 1, 1] = size
    turn[:, :, 2] = (1 - size).clamp_min(0)[:, None] * uniform(draw, (count, 2), -1, 1)
    grid = F.affine_grid(turn, [count, 3, side, side], align_corners=False)

    def look_up(field: Tensor, mode: str = "bilinear") -> Tensor:
        return F.grid_sample(field, grid, mode=mode, padding_mode="reflection", align_corners=False)

    seen = torch.round(look_up(rgb) * 255) / 255
    root = look_up(walls.root[:, None])[:, 0]
    width = look_up(walls.half_width[:, None], "nearest")[:, 0] * zoom[:, None, None]
    direction = look_up(walls.direction, "nearest")
    return Examples(seen, root, width, direction, pixel_weight(root, width))


def pixel_weight(root: Tensor, half_width: Tensor) -> Tensor:
    """A root counts by length, not area: thin ones weigh more a pixel; sub-pixel hairs count for less."""
    by_length = (3.0 / half_width.clamp_min(0.5)).clamp(0.5, 2.5)
    unsure = torch.where(half_width < 0.9, 0.5, 1.0)
    return torch.where(root > 0.1, by_length * unsure, torch.ones_like(root))

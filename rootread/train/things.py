"""What lies on a made wall: roots, and what looks like roots but is none, as paths with a width.

Dimension letters: ``B`` pictures, ``O`` things a picture, ``N`` points a thing.
Lengths are pixels of the picture, angles radians.
"""

import math
from dataclasses import dataclass

import torch
from torch import Tensor

from rootread.train.noise import normal, uniform

WIGGLE_LEAST = 0.04
"""Roots of some pictures run as straight as straw: their bends are this share of the usual or more, all alike
on a log scale."""

NONE, ROOT, STRAW, CRACK, CHANNEL, STONE, LINE, SCRATCH, BAR, HAIR = range(10)

# One row a kind: half-width, length, heading change in rad per 10 px, share of width lost to the tip,
# and relief as a share of the half-width (negative is a hollow); each a low and a high end.
RANGES = (
    (1.0, 1.0, 1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0),  # none
    (0.8, 15.0, 90.0, 800.0, 0.01, 0.16, 0.1, 0.95, 0.3, 1.2),  # root
    (1.0, 8.0, 25.0, 330.0, 0.0, 0.012, 0.0, 0.1, 0.15, 0.8),  # straw
    (0.6, 9.0, 60.0, 600.0, 0.02, 0.4, 0.2, 1.0, -3.0, -0.8),  # crack
    (3.0, 9.0, 20.0, 250.0, 0.02, 0.15, 0.0, 0.3, -1.5, -0.5),  # worm channel
    (3.0, 26.0, 1.0, 18.0, 0.0, 0.0, 0.0, 0.0, 0.3, 1.0),  # stone
    (0.6, 3.0, 600.0, 900.0, 0.0, 0.001, 0.0, 0.0, 0.2, 1.0),  # string, wire, chalk line
    (1.0, 14.0, 80.0, 700.0, 0.0, 0.01, 0.0, 0.6, -0.25, 0.12),  # shovel or knife mark
    (9.0, 70.0, 60.0, 900.0, 0.0, 0.001, 0.0, 0.05, 0.05, 0.4),  # tape, staff, handle, stalk, leaf
    (0.4, 0.9, 20.0, 160.0, 0.03, 0.35, 0.0, 0.6, 0.3, 1.0),  # hair root
)


@dataclass(frozen=True)
class Things:
    """Paths of all things of a batch, later ones lying over earlier ones."""

    kind: Tensor
    """``(B, O)`` one of the kinds above."""
    points: Tensor
    """``(B, O, N, 2)`` column and row."""
    half_width: Tensor
    """``(B, O, N)``."""
    relief: Tensor
    """``(B, O)`` height of the thing's crest as a share of its half-width."""


def draw_kinds(draw: torch.Generator, count: int, things: int) -> Tensor:
    """``(B, O)`` kinds: each picture has its own mixture, a fifth of the pictures no root at all."""
    weights = torch.tensor([5.0, 4.0, 1.2, 0.6, 0.25, 0.7, 0.12, 0.5, 0.12, 1.2], device=draw.device)
    mixture = weights * torch.exp(0.9 * normal(draw, (count, len(weights))))
    bare = uniform(draw, (count,)) < 0.2
    mixture[bare, ROOT] = 0.0
    mixture[bare, HAIR] = 0.0
    # A tenth of the pictures is litter: straw beyond counting, as on a residue-covered bench.
    mixture[uniform(draw, (count,)) < 0.1, STRAW] *= 8.0
    return torch.multinomial(mixture, things, replacement=True, generator=draw)


def draw_things(draw: torch.Generator, count: int, things: int, points: int, side: int) -> Things:
    """Random things over a square picture of ``side`` pixels.

    A third of the roots starts at a common crown, a third branches from an
    earlier root, the rest enters from anywhere.
    """
    kind = draw_kinds(draw, count, things)
    ranges = torch.tensor(RANGES, device=draw.device)[kind]
    scale = torch.exp(uniform(draw, (count, 1), math.log(0.6), math.log(1.5)))
    width = _between(draw, ranges[..., 0], ranges[..., 1], log=True, power=1.5) * scale
    length = _between(draw, ranges[..., 2], ranges[..., 3], log=True)
    wiggle = _between(draw, ranges[..., 4], ranges[..., 5])
    taper = _between(draw, ranges[..., 6], ranges[..., 7])
    relief = _between(draw, ranges[..., 8], ranges[..., 9])
    rootlike = (kind == ROOT) | (kind == HAIR)
    straightness = torch.exp(uniform(draw, (count, 1), math.log(WIGGLE_LEAST), 0.0))
    bends = torch.where(rootlike, straightness, torch.ones_like(straightness))

    heading = _headings(draw, kind, wiggle * bends, bends, length, points)
    step = (length / (points - 1))[..., None]
    offsets = torch.stack([heading.cos(), heading.sin()], -1)[:, :, :-1] * step[..., None]
    path = torch.cat([torch.zeros_like(offsets[:, :, :1]), offsets.cumsum(2)], 2)

    start = uniform(draw, (count, things, 2), -0.15, 1.15) * side
    crown = uniform(draw, (count, 1, 2), -0.3, 1.3) * side + 6.0 * normal(draw, (count, things, 2))
    start = torch.where((rootlike & (uniform(draw, (count, things)) < 0.3))[..., None], crown, start)
    # Straight things, stones and straw are placed by their middle, so that they are in the picture at all.
    middle = path[:, :, points // 2]
    path = path + (start - torch.where(rootlike[..., None], torch.zeros_like(middle), middle))[:, :, None]
    path = _branch(draw, path, kind, rootlike)

    along = torch.linspace(0.0, 1.0, points, device=draw.device)
    profile = 1.0 - taper[..., None] * along ** _between(draw, 0.5 + 0 * taper, 2.5 + 0 * taper)[..., None]
    uneven = _smooth(normal(draw, (count, things, points)), 2)
    swelling = torch.exp(0.12 * rootlike.float()[..., None] * uneven)
    half_width = (width[..., None] * profile * swelling).clamp_min(0.4)
    return Things(kind, path, half_width, relief)


def _between(
    draw: torch.Generator, low: Tensor, high: Tensor, log: bool = False, power: float = 1.0
) -> Tensor:
    """Draws between two bounds; ``power`` above 1 favours the low end."""
    share = uniform(draw, tuple(low.shape)) ** power
    return torch.exp(low.log() * (1 - share) + high.log() * share) if log else low + (high - low) * share


def _smooth(field: Tensor, width: int) -> Tensor:
    """Moving average along the last axis, its spread kept near 1."""
    flat = field.reshape(-1, 1, field.shape[-1])
    padded = torch.nn.functional.pad(flat, (width, width), mode="replicate")
    kernel = torch.ones(1, 1, 2 * width + 1, device=field.device) / math.sqrt(2 * width + 1)
    return torch.nn.functional.conv1d(padded, kernel).view(field.shape)


def _headings(
    draw: torch.Generator, kind: Tensor, wiggle: Tensor, bends: Tensor, length: Tensor, points: int
) -> Tensor:
    """``(B, O, N)`` heading along each path: a smoothed random walk, with kinks and turns for some.

    ``bends`` ``(B, O)`` is the share of its usual swing that each thing has.
    """
    count, things = kind.shape
    step = length / (points - 1)
    walk = _smooth(normal(draw, (count, things, points)), 1) * (wiggle * torch.sqrt(step / 10.0))[..., None]
    # A picture's things share a direction more or less (roots of one crown side, straw in a wind-row).
    common = uniform(draw, (count, 1), 0.0, 2 * math.pi)
    loose = uniform(draw, (count, 1), 0.1, math.pi)
    first = common + loose * uniform(draw, (count, things), -1.0, 1.0)
    # Heading change is pulled back, so that a root keeps its course as a growing tip does.
    course = walk.cumsum(2)
    course = course - 0.6 * _smooth(course, points // 6) / math.sqrt(2 * (points // 6) + 1)
    waves = uniform(draw, (count, things, 1), 0.0, 5.0) * 2 * math.pi
    along = torch.linspace(0.0, 1.0, points, device=draw.device)
    swing = uniform(draw, (count, things, 1)) ** 3 * 0.8 * bends[..., None]
    rootlike = ((kind == ROOT) | (kind == HAIR)).float()[..., None]
    course = course + rootlike * swing * torch.sin(waves * along + uniform(draw, (count, things, 1), 0, 6.3))
    # One sharp bend: a root turned by a layer or stone, a broken straw.
    bent = ((kind == ROOT) & (uniform(draw, (count, things)) < 0.25)) | (
        (kind == STRAW) & (uniform(draw, (count, things)) < 0.15)
    )
    bend_at = uniform(draw, (count, things, 1), 0.1, 0.9)
    turn = uniform(draw, (count, things, 1), -1.4, 1.4)
    sharp = 1.0 / uniform(draw, (count, things, 1), 0.01, 0.08)
    bend = bent.float()[..., None] * turn * torch.sigmoid((along - bend_at) * sharp)
    return first[..., None] + course + bend


def _branch(draw: torch.Generator, path: Tensor, kind: Tensor, rootlike: Tensor) -> Tensor:
    """A third of the rootlike things moved to start on an earlier root."""
    count, things, points, _ = path.shape
    order = torch.arange(things, device=path.device)
    parent = (uniform(draw, (count, things)) * order).long()
    at = (uniform(draw, (count, things)) * points).long()
    parent_kind = kind.gather(1, parent)
    picked = rootlike & (parent_kind == ROOT) & (uniform(draw, (count, things)) < 0.6) & (order > 0)
    flat = (parent * points + at)[..., None].expand(-1, -1, 2)
    place = path.reshape(count, things * points, 2).gather(1, flat)
    moved = path - path[:, :, :1] + place[:, :, None]
    return torch.where(picked[..., None, None], moved, path)

"""Things drawn onto a square picture: which thing a pixel shows, and where on it.

A path with a width is a chain of tapered capsules. Small tiles first choose the
capsules that can reach them, then each pixel takes its distance to those
only, so a picture of a thousand capsules costs no more than one of thirty.
"""

from dataclasses import dataclass

import torch
from torch import Tensor

from rootread.train.things import BAR, CRACK, LINE, SCRATCH, STONE, STRAW, Things

TILE_PX = 16
NEAREST = 28
"""Capsules a tile can hold; the farthest of a denser crowd are left out, of picture and truth alike."""
EDGE_WARP_PX = {STONE: 3.0, CRACK: 1.5, STRAW: 0.15, LINE: 0.0, BAR: 0.0, SCRATCH: 1.0}
"""How far a kind's edge wanders from its path; others 0.5 px."""
BLUNT = (STRAW, LINE, SCRATCH, BAR)


@dataclass(frozen=True)
class Layer:
    """The topmost thing at each pixel, all ``(B, S, S)``."""

    thing: Tensor
    """Index into the things of the picture."""
    cover: Tensor
    """0 to 1, share of the pixel that the thing covers."""
    across: Tensor
    """-1 at one edge, 0 on the path, 1 at the other edge."""
    along: Tensor
    """Pixels from the start of the path."""
    half_width: Tensor
    direction: Tensor
    """Radians of the path, columns to rows."""


def draw_layer(things: Things, side: int, warp: Tensor) -> Layer:
    """Rasterise; ``warp`` is ``(B, S, S, 2)`` unit noise that makes edges uneven."""
    parts = [
        _draw(Things(*(f[b : b + 16] for f in _fields(things))), side, warp[b : b + 16])
        for b in range(0, len(things.kind), 16)
    ]
    return Layer(*(torch.cat([part[k] for part in parts]) for k in range(6)))


def _fields(things: Things) -> tuple[Tensor, ...]:
    return things.kind, things.points, things.half_width, things.relief


def _capsules(things: Things) -> Tensor:
    """``(B, C, 10)``: both ends, both half-widths, length before it, thing, 1 if its ends are blunt, warp."""
    count, number, points, _ = things.points.shape
    first, last = things.points[:, :, :-1], things.points[:, :, 1:]
    length = (last - first).norm(dim=-1)
    before = length.cumsum(2) - length
    index = torch.arange(number, device=first.device, dtype=first.dtype)[None, :, None].expand_as(length)
    blunt = torch.isin(things.kind, torch.tensor(BLUNT, device=first.device)).to(first.dtype)
    blunt = blunt[..., None].expand_as(length)
    amount = torch.full((10,), 0.5, device=first.device)
    for kind, value in EDGE_WARP_PX.items():
        amount[kind] = value
    warp = amount[things.kind][..., None].expand_as(length)
    width = things.half_width
    columns = [first, last, torch.stack([width[..., :-1], width[..., 1:], before, index, blunt, warp], -1)]
    return torch.cat(columns, -1).reshape(count, number * (points - 1), 10)


def _draw(things: Things, side: int, warp: Tensor) -> tuple[Tensor, ...]:
    device = warp.device
    count, tiles = len(warp), side // TILE_PX
    capsules = _capsules(things)
    axis = (torch.arange(tiles, device=device) + 0.5) * TILE_PX - 0.5
    centre = torch.stack(torch.meshgrid(axis, axis, indexing="xy"), -1).reshape(1, -1, 1, 2)
    _, distance, _ = _to_capsules(centre, capsules[:, None])
    reach = distance - torch.maximum(capsules[..., 4], capsules[..., 5])[:, None]
    drawn = (things.kind > 0).repeat_interleave(things.points.shape[2] - 1, 1)[:, None]
    reach = torch.where(drawn, reach, torch.full_like(reach, 1e6))
    few = min(NEAREST, capsules.shape[1])
    chosen = reach.topk(few, dim=2, largest=False)[1]
    near = capsules.gather(1, chosen.reshape(count, -1, 1).expand(-1, -1, 10))
    near = near.view(count, tiles**2, 1, few, 10)
    near_drawn = reach.gather(2, chosen) < TILE_PX

    grid = torch.stack(torch.meshgrid(*[torch.arange(side, device=device)] * 2, indexing="xy"), -1).float()
    pixel = _to_tiles(grid[None].expand(count, -1, -1, -1), tiles)[:, :, :, None]
    shift = _to_tiles(warp, tiles)[:, :, :, None]
    t, distance, side_of = _to_capsules(pixel + shift * near[..., 9:10], near)
    clipped = t.clamp(0.0, 1.0)
    width = near[..., 4] + (near[..., 5] - near[..., 4]) * clipped
    length = (near[..., 2:4] - near[..., 0:2]).norm(dim=-1)
    cut = (near[..., 8] > 0) & ((t - 0.5).abs() * length > 0.5 * length + 0.6)
    cover = (width - distance + 0.5).clamp(0, 1) * (~cut & near_drawn[:, :, None])
    # A thread thinner than a pixel covers only its own width of it.
    cover = cover * (2 * width).clamp(max=1.0)
    ratio = (distance / width).clamp(max=1.5)
    solid = cover > 0.4
    score = torch.where(solid, near[..., 7] + 2.0 - 0.5 * ratio, cover)
    best = score.argmax(-1, keepdim=True)

    def at_best(values: Tensor) -> Tensor:
        return _from_tiles(values.gather(-1, best).squeeze(-1), tiles)

    heading = torch.atan2(near[..., 3] - near[..., 1], near[..., 2] - near[..., 0]).expand_as(t)
    return (
        at_best(near[..., 7].expand_as(t)).long(),
        at_best(cover),
        at_best(ratio * side_of).clamp(-1, 1),
        at_best(near[..., 6] + clipped * length),
        at_best(width),
        at_best(heading),
    )


def _to_capsules(point: Tensor, capsules: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """Place along each capsule's axis (0 to 1 within), distance to the axis, and the side of it."""
    ax, ay, bx, by = capsules[..., 0], capsules[..., 1], capsules[..., 2], capsules[..., 3]
    dx, dy = bx - ax, by - ay
    px, py = point[..., 0] - ax, point[..., 1] - ay
    t = (px * dx + py * dy) / (dx * dx + dy * dy).clamp_min(1e-6)
    inside = t.clamp(0.0, 1.0)
    distance = torch.hypot(px - inside * dx, py - inside * dy)
    return t, distance, torch.sign(dx * py - dy * px)


def _to_tiles(field: Tensor, tiles: int) -> Tensor:
    """``(B, S, S, 2)`` to ``(B, tiles^2, TILE_PX^2, 2)``."""
    count = len(field)
    cut = field.reshape(count, tiles, TILE_PX, tiles, TILE_PX, 2).permute(0, 1, 3, 2, 4, 5)
    return cut.reshape(count, tiles**2, TILE_PX**2, 2)


def _from_tiles(field: Tensor, tiles: int) -> Tensor:
    """``(B, tiles^2, TILE_PX^2)`` to ``(B, S, S)``."""
    count = len(field)
    laid = field.reshape(count, tiles, tiles, TILE_PX, TILE_PX).permute(0, 1, 3, 2, 4)
    return laid.reshape(count, tiles * TILE_PX, tiles * TILE_PX)

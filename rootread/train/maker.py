"""Pictures of walls with their truth, made on the GPU as fast as a network can learn from them.

Truth comes from the same geometry as the picture: what is root is what was
drawn as root and is not under soil.
"""

from dataclasses import dataclass

import torch
from torch import Tensor

from rootread.train.draw import Layer, draw_layer
from rootread.train.ground import draw_reflectance, draw_relief, hsv_to_linear
from rootread.train.light import light_up
from rootread.train.noise import band_noise, fractal_noise, log_uniform, standardise, uniform
from rootread.train.things import (
    BAR,
    CHANNEL,
    CRACK,
    HAIR,
    LINE,
    ROOT,
    SCRATCH,
    STONE,
    STRAW,
    Things,
    draw_things,
)

Range = tuple[float, float]

THINGS = 44
POINTS = 40


@dataclass(frozen=True)
class Walls:
    """Made walls as the light leaves them, before any camera, with their truth."""

    linear: Tensor
    """``(B, 3, S, S)`` linear light."""
    root: Tensor
    """``(B, S, S)`` share of the pixel that shows root."""
    half_width: Tensor
    """``(B, S, S)`` pixels, of the root there."""
    direction: Tensor
    """``(B, 2, S, S)`` cos 2a, sin 2a of the root there; a from columns to rows."""

    def fields(self) -> tuple[Tensor, ...]:
        """All of it, in order."""
        return self.linear, self.root, self.half_width, self.direction


def make_walls(draw: torch.Generator, count: int, side: int) -> Walls:
    """A batch of made walls; ``side`` is a multiple of 16."""
    things = draw_things(draw, count, THINGS, POINTS, side)
    warp = torch.stack([band_noise(draw, count, side, 6.0, 30.0) for _ in range(2)], -1)
    layer = draw_layer(things, side, warp)
    relief, coarse, grain = draw_relief(draw, count, side)
    soil = draw_reflectance(draw, count, side, grain)
    colour = _thing_colour(draw, things, layer, soil)
    height, shown = _settle(draw, things, layer, relief, coarse)
    reflectance = soil + (colour - soil) * shown[:, None]
    linear = light_up(draw, relief + (height - relief) * shown, reflectance)
    kind = things.kind.gather(1, layer.thing.flatten(1)).view_as(layer.thing)
    root = shown * ((kind == ROOT) | (kind == HAIR))
    direction = torch.stack([(2 * layer.direction).cos(), (2 * layer.direction).sin()], 1)
    return Walls(linear, root, layer.half_width, direction)


def _thing_colour(draw: torch.Generator, things: Things, layer: Layer, soil: Tensor) -> Tensor:
    """Linear colour of the topmost thing at each pixel, with its skin, fibres, ticks and dirt."""
    count, number = things.kind.shape
    shape = (count, number)
    side = soil.shape[-1]

    def family(hue: Range, saturation: Range, value: Range) -> Tensor:
        """Alike within a picture, a little different from thing to thing."""
        common = [uniform(draw, (count, 1), *limits) for limits in (hue, saturation, value)]
        spread = uniform(draw, (count, 1), 0.1, 1.0)
        own = [
            c + spread * 0.35 * (limits[1] - limits[0]) * uniform(draw, shape, -1, 1)
            for c, limits in zip(common, (hue, saturation, value), strict=True)
        ]
        return hsv_to_linear(own[0], own[1].clamp(0, 1), own[2].clamp(0.03, 1))

    pale = family((22, 52), (0.04, 0.5), (0.5, 0.98))
    brown = family((12, 40), (0.15, 0.7), (0.14, 0.6))
    dark_roots = uniform(draw, shape) < uniform(draw, (count, 1), -0.6, 0.6).clamp_min(0.04)
    root = torch.where(dark_roots[..., None], brown, pale)
    mean_soil = soil.mean((2, 3))[:, None, :].expand(-1, number, -1)
    dark = mean_soil * log_uniform(draw, (*shape, 1), 0.04, 0.5)
    line_value = uniform(draw, shape)
    bar_value = uniform(draw, shape, 0.1, 1.0)
    table = root.clone()
    for kind, value in (
        (STRAW, family((30, 62), (0.05, 0.6), (0.25, 0.98))),
        (CRACK, dark),
        (CHANNEL, mean_soil * log_uniform(draw, (*shape, 1), 0.15, 0.9)),
        (STONE, family((0, 220), (0.0, 0.25), (0.2, 0.95))),
        (LINE, hsv_to_linear(uniform(draw, shape, 0, 360), uniform(draw, shape) ** 2, line_value)),
        (SCRATCH, mean_soil * log_uniform(draw, (*shape, 1), 0.7, 1.45)),
        (BAR, hsv_to_linear(uniform(draw, shape, 20, 130), uniform(draw, shape), bar_value)),
    ):
        table = torch.where((things.kind == kind)[..., None], value, table)
    at = layer.thing.flatten(1)
    colour = table.gather(1, at[..., None].expand(-1, -1, 3)).view(count, side, side, 3).permute(0, 3, 1, 2)

    def of(values: Tensor) -> Tensor:
        return values.gather(1, at).view(count, side, side)

    kind = of(things.kind)
    # Fibres run along a thing: noise looked up by its across place, the same all along it.
    phase = of(uniform(draw, shape, 0, 60.0))
    stripes = torch.sin(layer.across * of(uniform(draw, shape, 2, 14.0)) + phase)
    rings = torch.sin(layer.along * of(log_uniform(draw, shape, 0.15, 1.5)) + phase)
    fibrous = (kind == STRAW).float() * 0.25 + (kind == BAR) * 0.1 + (kind == ROOT) * 0.06
    ringed = (kind == ROOT).float() * 0.08 + (kind == CHANNEL) * 0.1
    skin = fibrous * stripes + ringed * rings * of(uniform(draw, shape))
    skin = skin + 0.15 * band_noise(draw, count, side, 2.5, 25.0) * of(uniform(draw, shape))
    ticks = (layer.along % of(log_uniform(draw, shape, 4.0, 80.0))) < of(log_uniform(draw, shape, 1.0, 30.0))
    ticks = ticks & (layer.across > of(uniform(draw, shape, -1.2, 1.0))) & (kind == BAR)
    ticks = ticks & (of(uniform(draw, shape)) < 0.6)
    skin = skin + torch.where(ticks, of(uniform(draw, shape, -4, 2.0)), torch.zeros_like(skin))
    colour = colour * torch.exp(skin)[:, None]
    stuck = band_noise(draw, count, side, 5.0, 60.0) + of(uniform(draw, shape, -4.5, 0.5))
    dirt = torch.sigmoid(2.5 * stuck)
    thick = of(uniform(draw, shape, 0.2, 0.9)) * ((kind != CRACK) & (kind != CHANNEL))
    return (colour + (soil - colour) * (dirt * thick)[:, None]).clamp(0.002, 1.0)


def _settle(
    draw: torch.Generator, things: Things, layer: Layer, relief: Tensor, coarse: Tensor
) -> tuple[Tensor, Tensor]:
    """Height of the topmost thing at each pixel, and the share of it that soil does not lie over."""
    count, number = things.kind.shape
    at = layer.thing.flatten(1)

    def of(values: Tensor) -> Tensor:
        return values.gather(1, at).view_as(relief)

    kind = of(things.kind)
    share = of(things.relief)
    round_top = torch.sqrt((1 - layer.across**2).clamp_min(0.02))
    flat = of((uniform(draw, (count, number)) < 0.3).float()) * (kind != ROOT)
    profile = share * layer.half_width * (round_top * (1 - flat) + flat)
    # A thing follows the coarse relief and bridges the fine one, lying a little proud or sunk.
    proud = of(uniform(draw, (count, number), -0.4, 1.4)) * layer.half_width.clamp(max=4.0)
    hollow = (kind == CRACK) | (kind == CHANNEL) | (kind == SCRATCH)
    height = torch.where(hollow, relief + profile, coarse + profile + proud)
    # Soil over it: where the fine relief stands higher, and under patches of crumbs.
    buried = (uniform(draw, (count, 1)) < 0.5).float() * uniform(draw, (count, number), 0.0, 1.0)
    fine = standardise(relief - coarse) + 0.7 * fractal_noise(draw, count, relief.shape[-1])
    patches = fine - of(3.2 - 2.4 * buried)
    visible = torch.sigmoid(-8.0 * patches)
    whole = torch.ones_like(visible)
    visible = torch.where(hollow | (kind == BAR) | (kind == STONE), whole, visible)
    faint = torch.where(kind == SCRATCH, of(uniform(draw, (count, number), 0.1, 0.9)), whole)
    return height, layer.cover * visible * faint

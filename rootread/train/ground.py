"""Bare ground in PyTorch: relief and reflectance of soils of any colour and structure.

``B`` pictures of ``S`` px; relief in pixels, reflectance linear 0 to 1, colours ``(B, 3, S, S)``.
"""

import torch
from torch import Tensor

from rootread.train.noise import (
    band_noise,
    cells,
    chance,
    fractal_noise,
    log_uniform,
    normal,
    standardise,
    uniform,
)


def hsv_to_linear(hue: Tensor, saturation: Tensor, value: Tensor) -> Tensor:
    """Colours ``(..., 3)`` in linear light from hue in degrees, saturation and value of sRGB, 0 to 1."""
    k = (torch.tensor([5.0, 3.0, 1.0], device=hue.device) + hue[..., None] / 60.0) % 6.0
    srgb = value[..., None] * (1 - saturation[..., None] * torch.minimum(k, 4 - k).clamp(0, 1))
    return srgb.clamp(0, 1) ** 2.2


def draw_relief(draw: torch.Generator, count: int, side: int) -> tuple[Tensor, Tensor, Tensor]:
    """Relief in pixels, its coarse part alone, and grain numbers 0 to 1 for colouring the grains."""
    coarse = band_noise(draw, count, side, 60.0, 300.0) * log_uniform(draw, (count, 1, 1), 0.5, 8.0)
    coarse = coarse + fractal_noise(draw, count, side) * log_uniform(draw, (count, 1, 1), 0.1, 3.0)
    rough = log_uniform(draw, (count, 1, 1), 0.1, 2.5)
    fine = band_noise(draw, count, side, 3.0, 40.0)
    # Three faces of a cut wall: plain rough, billowed crumbs (rounded tops, sharp furrows), and pitted.
    crumbs = standardise(-band_noise(draw, count, side, 8.0, 60.0).abs())
    deep = band_noise(draw, count, side, 5.0, 40.0) - uniform(draw, (count, 1, 1), 0, 1.5)
    pits = standardise(-torch.relu(deep))
    near, second, number = cells(draw, count, side)
    # Domes with furrows between: clods, peds, gravel. Furrow width differs by picture.
    furrow = uniform(draw, (count, 1, 1), 0.05, 0.4)
    grains = standardise((1 - near**2).clamp_min(0) + 2 * ((second - near) / furrow).clamp(0, 1))
    shares = uniform(draw, (count, 4)) ** 3
    shares = shares / shares.amax(1, keepdim=True)
    weights = [shares[:, k, None, None] for k in range(4)]
    mixed = weights[0] * fine + weights[1] * crumbs + weights[2] * pits + weights[3] * grains
    scrape = 0.3 * chance(draw, count, 0.3) * band_noise(draw, count, side, 3.0, 20.0)
    return coarse + rough * mixed + scrape, coarse, number


def draw_reflectance(draw: torch.Generator, count: int, side: int, grain: Tensor) -> Tensor:
    """Soil colour: two horizons, mottles, grains and specks, from near-black topsoil to chalk and clay."""
    hue = uniform(draw, (count, 2), 8.0, 48.0)
    saturation = uniform(draw, (count, 2), 0.04, 0.72)
    value = uniform(draw, (count, 2), 0.1, 0.88)
    odd = uniform(draw, (count, 1)) < 0.06  # gley: grey, bluish, greenish
    hue = torch.where(odd, uniform(draw, (count, 2), 60.0, 240.0), hue)
    saturation = torch.where(odd, 0.3 * saturation, saturation)
    value[:, 1] = torch.where(uniform(draw, (count,)) < 0.5, value[:, 0], value[:, 1])
    two = hsv_to_linear(hue, saturation, value)
    boundary = fractal_noise(draw, count, side) * uniform(draw, (count, 1, 1), 0.2, 1.5)
    axis = torch.linspace(-1.5, 1.5, side, device=draw.device)
    tilt = 0.3 * normal(draw, (count, 1, 1))
    slope = axis[None, :, None] + tilt * axis[None, None, :] + uniform(draw, (count, 1, 1), -1.5, 1.5)
    blend = torch.sigmoid((slope + boundary) * log_uniform(draw, (count, 1, 1), 0.5, 30.0))[:, None]
    colour = two[:, 0, :, None, None] * (1 - blend) + two[:, 1, :, None, None] * blend

    shade = 0.25 * uniform(draw, (count, 1, 1)) * fractal_noise(draw, count, side)
    shade = shade + 0.2 * uniform(draw, (count, 1, 1)) ** 2 * band_noise(draw, count, side, 2.5, 30.0)
    shade = shade + uniform(draw, (count, 1, 1)) ** 3 * (grain - 0.5)
    fibres = band_noise(draw, count, side, 2.5, 12.0)
    shade = shade + 0.35 * chance(draw, count, 0.15) * fibres
    colour = colour * torch.exp(shade.clamp(-1.5, 1.5))[:, None]
    mottle_colour = hsv_to_linear(
        uniform(draw, (count,), 0, 60), uniform(draw, (count,), 0.1, 0.9), uniform(draw, (count,), 0.15, 0.8)
    )
    for low, high, share in ((20.0, 120.0, 0.35), (3.0, 10.0, 0.5)):
        spots = band_noise(draw, count, side, low, high) - uniform(draw, (count, 1, 1), 1.2, 3.0)
        spots = torch.sigmoid(6 * spots) * chance(draw, count, share) * uniform(draw, (count, 1, 1))
        mottle_colour = mottle_colour.roll(1, 0)
        colour = colour + (mottle_colour[:, :, None, None] - colour) * spots[:, None]
    return colour.clamp(0.005, 1.0)

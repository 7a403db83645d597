"""Sun, sky and shadows on a made wall, in PyTorch, linear light."""

import math

import torch
import torch.nn.functional as F  # noqa: N812
from torch import Tensor

from rootread.train.noise import band_noise, chance, log_uniform, normal, uniform

SHADOW_STEPS = 14
REACH_PX = 70.0


def blur(field: Tensor, sigma: float) -> Tensor:
    """Gaussian blur of ``(B, C, S, S)``."""
    if sigma < 0.2:
        return field
    radius = math.ceil(2.5 * sigma)
    at = torch.arange(-radius, radius + 1, device=field.device, dtype=field.dtype)
    kernel = torch.exp(-0.5 * (at / sigma) ** 2)
    kernel = kernel / kernel.sum()
    channels = field.shape[1]
    field = F.pad(field, (radius,) * 4, mode="reflect")
    field = F.conv2d(field, kernel.view(1, 1, 1, -1).expand(channels, 1, 1, -1), groups=channels)
    return F.conv2d(field, kernel.view(1, 1, -1, 1).expand(channels, 1, -1, 1), groups=channels)


def blur_each(field: Tensor, sigma: Tensor, reach: int = 6) -> Tensor:
    """Gaussian blur of ``(B, C, S, S)`` with a width of its own for each picture, ``(B,)`` px."""
    count, channels, side, _ = field.shape
    at = torch.arange(-reach, reach + 1, device=field.device, dtype=field.dtype)
    kernel = torch.exp(-0.5 * (at[None] / sigma[:, None].clamp_min(0.05)) ** 2)
    kernel = (kernel / kernel.sum(1, keepdim=True)).repeat_interleave(channels, 0)[:, None]
    field = F.pad(field, (reach,) * 4, mode="reflect").reshape(1, count * channels, side + 2 * reach, -1)
    field = F.conv2d(field, kernel[:, :, None, :], groups=count * channels)
    return F.conv2d(field, kernel[:, :, :, None], groups=count * channels).view(count, channels, side, side)


def shifted(field: Tensor, right: Tensor, down: Tensor) -> Tensor:
    """``(B, S, S)`` looked up ``right`` and ``down`` pixels further on; ``(B,)`` shifts."""
    count, side = field.shape[0], field.shape[-1]
    turn = torch.zeros(count, 2, 3, device=field.device)
    turn[:, 0, 0] = turn[:, 1, 1] = 1.0
    turn[:, 0, 2], turn[:, 1, 2] = 2 * right / side, 2 * down / side
    grid = F.affine_grid(turn, [count, 1, side, side], align_corners=False)
    return F.grid_sample(field[:, None], grid, padding_mode="border", align_corners=False)[:, 0]


def cast_shadow(relief: Tensor, azimuth: Tensor, rise: Tensor) -> Tensor:
    """Share of the sun's disc seen over a relief in px; ``rise`` is the tangent of the sun's elevation."""
    seen = torch.ones_like(relief)
    for k in range(SHADOW_STEPS):
        far = REACH_PX ** ((k + 0.5) / SHADOW_STEPS)
        over = shifted(relief, far * azimuth.cos(), far * azimuth.sin()) - relief - far * rise[:, None, None]
        seen = torch.minimum(seen, torch.sigmoid(-over / (0.25 + 0.04 * far)))
    return (2 * seen).clamp(max=1.0)


def far_shadow(draw: torch.Generator, count: int, side: int) -> Tensor:
    """Shadows from outside the picture: an edge, bars and the light slits between them, leaves; 1 is sun."""
    axis = torch.arange(side, device=draw.device) - side / 2
    sun = torch.ones(count, side, side, device=draw.device)
    for share in (0.3, 0.2, 0.1):
        angle = uniform(draw, (count, 1, 1), 0, 2 * math.pi)
        across = axis[None, :, None] * angle.sin() + axis[None, None, :] * angle.cos()
        across = across + side * uniform(draw, (count, 1, 1), -0.6, 0.6)
        uneven = band_noise(draw, count, side, 30.0, 200.0)
        across = across + log_uniform(draw, (count, 1, 1), 0.3, 8.0) * uneven
        wide = log_uniform(draw, (count, 1, 1), 1.5, 60.0)
        bar = (across.abs() - wide) * torch.sign(uniform(draw, (count, 1, 1), -0.35, 0.65))
        edge = torch.where(chance(draw, count, 0.5) > 0, across, bar)
        lit = torch.sigmoid(edge / log_uniform(draw, (count, 1, 1), 0.3, 8.0))
        sun = torch.minimum(sun, 1 - chance(draw, count, share) * (1 - lit))
    leaves = band_noise(draw, count, side, 30.0, 200.0) + uniform(draw, (count, 1, 1), -0.5, 1.5)
    lit = torch.sigmoid(leaves * log_uniform(draw, (count, 1, 1), 3.0, 60.0))
    return torch.minimum(sun, 1 - chance(draw, count, 0.12) * (1 - lit))


def light_up(draw: torch.Generator, relief: Tensor, reflectance: Tensor) -> Tensor:
    """Linear colour of a wall under a random sky: ``(B, 3, S, S)``."""
    count, side = relief.shape[0], relief.shape[-1]
    azimuth = uniform(draw, (count,), 0, 2 * math.pi)
    elevation = uniform(draw, (count,), 0.15, 1.4)
    shadow = cast_shadow(relief, azimuth, elevation.tan().clamp(max=8.0))
    down, right = torch.gradient(relief, dim=(1, 2))
    length = torch.sqrt(down**2 + right**2 + 1)
    flat = elevation.cos()
    facing = (
        -right * (azimuth.cos() * flat)[:, None, None]
        - down * (azimuth.sin() * flat)[:, None, None]
        + elevation.sin()[:, None, None]
    ) / length
    hollow = sum(torch.relu(blur(relief[:, None], s)[:, 0] - relief) / s for s in (2.0, 6.0))
    open_sky = torch.exp(-log_uniform(draw, (count, 1, 1), 0.2, 2.0) * hollow) * (0.7 + 0.3 / length)
    # The sky is brighter on one side, so that even an overcast wall is modelled a little.
    side_light = uniform(draw, (count, 1, 1), 0, 0.6) * down / length
    sky = open_sky * (1 - side_light).clamp(0.2, 2.0)
    sun_share = uniform(draw, (count, 1, 1)) * chance(draw, count, 0.75)
    sun = facing.clamp_min(0) * shadow * far_shadow(draw, count, side)
    sun_tint = 1 + 0.25 * uniform(draw, (count, 1)) * torch.tensor([1.0, 0.0, -1.0], device=draw.device)
    sky_tint = 1 + 0.3 * uniform(draw, (count, 1)) * torch.tensor([-1.0, 0.0, 1.0], device=draw.device)
    light = (1.5 * sun_share * sun)[:, None] * sun_tint[:, :, None, None]
    light = light + ((1 - 0.8 * sun_share) * sky)[:, None] * sky_tint[:, :, None, None]
    fall_off = 1 + 0.35 * uniform(draw, (count, 1, 1)) * band_noise(draw, count, side, 300.0, 900.0)
    wet = 0.15 * chance(draw, count, 0.25) * uniform(draw, (count, 1, 1))
    gloss = wet * torch.exp(-(((down + 0.4 * normal(draw, (count, 1, 1))) / 0.25) ** 2)) * shadow
    return reflectance * light * fall_off.clamp(0.3, 2.0)[:, None] + gloss[:, None]

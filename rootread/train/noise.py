"""Random fields in PyTorch: the raw stuff of made ground, light and camera faults.

Dimension letters: ``B`` pictures, ``S`` side in pixels. Every field is
``(B, S, S)`` on the generator's own device.
"""

import math

import torch
from torch import Tensor


def uniform(draw: torch.Generator, shape: tuple[int, ...], low: float = 0.0, high: float = 1.0) -> Tensor:
    """Independent uniform draws."""
    return torch.rand(shape, generator=draw, device=draw.device) * (high - low) + low


def log_uniform(draw: torch.Generator, shape: tuple[int, ...], low: float, high: float) -> Tensor:
    """Independent draws whose logarithm is uniform."""
    return torch.exp(uniform(draw, shape, math.log(low), math.log(high)))


def normal(draw: torch.Generator, shape: tuple[int, ...]) -> Tensor:
    """Independent standard normal draws."""
    return torch.randn(shape, generator=draw, device=draw.device)


def chance(draw: torch.Generator, count: int, share: float) -> Tensor:
    """``(B, 1, 1)`` 1.0 for about ``share`` of the pictures, else 0.0."""
    return (uniform(draw, (count, 1, 1)) < share).float()


def standardise(field: Tensor) -> Tensor:
    """Each picture's field to mean 0 and standard deviation 1."""
    field = field - field.mean((-2, -1), keepdim=True)
    return field / field.std((-2, -1), keepdim=True).clamp_min(1e-6)


def band_noise(draw: torch.Generator, count: int, side: int, low: float, high: float) -> Tensor:
    """Gaussian noise around one wavelength a picture, log-uniform in [low, high] pixels, stretched at random.

    The spectrum is a Gaussian bump on a log axis; stretching multiplies one
    turned frequency axis by up to 4, which gives streaks, laminae and fibres.
    """
    frequency = torch.fft.fftfreq(side, device=draw.device)
    u, v = frequency[None, None, :], frequency[None, :, None]
    angle = uniform(draw, (count, 1, 1), 0.0, math.pi)
    stretch = 1.0 + 3.0 * chance(draw, count, 0.3) * uniform(draw, (count, 1, 1))
    along, across = u * angle.cos() + v * angle.sin(), -u * angle.sin() + v * angle.cos()
    radius = torch.sqrt((along * stretch) ** 2 + across**2).clamp_min(0.25 / side)
    centre = 1.0 / log_uniform(draw, (count, 1, 1), low, high)
    octaves = uniform(draw, (count, 1, 1), 0.3, 0.8)
    envelope = torch.exp(-0.5 * (torch.log(radius / centre) / octaves) ** 2)
    return _filtered(draw, count, side, envelope)


def fractal_noise(draw: torch.Generator, count: int, side: int) -> Tensor:
    """Gaussian noise with a power-law amplitude spectrum f^-b, b uniform in 0.8 to 2.2."""
    frequency = torch.fft.fftfreq(side, device=draw.device)
    radius = torch.hypot(frequency[None, :], frequency[:, None]).clamp_min(0.5 / side)
    slope = uniform(draw, (count, 1, 1), 0.8, 2.2)
    return _filtered(draw, count, side, radius[None] ** -slope)


def _filtered(draw: torch.Generator, count: int, side: int, envelope: Tensor) -> Tensor:
    spectrum = torch.fft.fft2(normal(draw, (count, side, side)))
    return standardise(torch.fft.ifft2(spectrum * envelope).real)


def cells(draw: torch.Generator, count: int, side: int) -> tuple[Tensor, Tensor, Tensor]:
    """Grains of one size a picture, 4 to 60 px: nearest and second distance in grain sizes, a number a grain.

    Worley's cellular noise: one jittered point in each cell of a grid; a pixel
    looks only at the 3 x 3 cells about its own.
    """
    device = draw.device
    size = log_uniform(draw, (count, 1, 1), 4.0, 60.0)
    squash = uniform(draw, (count, 1, 1), 0.5, 1.0)
    axis = torch.arange(side, device=device, dtype=torch.float32)
    row = (axis[None, :, None] / size / squash).expand(count, side, side)
    column = (axis[None, None, :] / size).expand(count, side, side)
    most = int(side / 4.0 / 0.5) + 4
    jitter = uniform(draw, (count, most * most, 3))
    nearest = torch.full((count, side, side), 9.0, device=device)
    second = nearest.clone()
    number = torch.zeros_like(nearest)
    for down in (-1, 0, 1):
        for right in (-1, 0, 1):
            i = (row.floor().long() + down).clamp(0, most - 1)
            j = (column.floor().long() + right).clamp(0, most - 1)
            flat = (i * most + j).view(count, -1, 1).expand(-1, -1, 3)
            point = jitter.gather(1, flat).view(count, side, side, 3)
            distance = torch.hypot(row - i - point[..., 0], column - j - point[..., 1])
            closer = distance < nearest
            second = torch.where(closer, nearest, torch.minimum(second, distance))
            nearest = torch.where(closer, distance, nearest)
            number = torch.where(closer, point[..., 2], number)
    return nearest, second, number

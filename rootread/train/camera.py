"""What a phone does to a picture: exposure, colour cast, blur, noise, sharpening, JPEG, resampling."""

import math

import torch
import torch.nn.functional as F  # noqa: N812
from torch import Tensor

from rootread.train.light import blur, blur_each
from rootread.train.noise import band_noise, chance, log_uniform, normal, uniform


def _each(field: Tensor) -> Tensor:
    return field[:, :, :, None]


def expose(draw: torch.Generator, linear: Tensor) -> Tensor:
    """Linear light to sRGB-like values 0 to 1, with errors of exposure, balance, tone and saturation."""
    count = len(linear)
    brightest = linear[:, :, ::4, ::4].flatten(1).quantile(0.9, dim=1).clamp_min(1e-3)
    target = log_uniform(draw, (count,), 0.12, 1.1)
    balance = torch.exp(0.13 * normal(draw, (count, 3)))
    linear = linear * (target / brightest)[:, None, None, None] * balance[:, :, None, None]
    # A soft shoulder instead of a hard clip for half of the cameras.
    soft = linear / (1 + linear) * 1.6
    linear = torch.where(_each(chance(draw, count, 0.5)) > 0, soft, linear)
    rgb = linear.clamp(1e-4, 1.0) ** (1 / uniform(draw, (count, 1, 1, 1), 1.7, 2.7))
    contrast = torch.exp(0.25 * normal(draw, (count, 1, 1, 1)))
    middle = rgb.mean((1, 2, 3), keepdim=True)
    rgb = (rgb - middle) * contrast + middle
    grey = rgb.mean(1, keepdim=True)
    return (grey + (rgb - grey) * uniform(draw, (count, 1, 1, 1), 0.0, 1.5)).clamp(0, 1)


def blur_and_noise(draw: torch.Generator, rgb: Tensor) -> Tensor:
    """Focus and motion blur, sensor noise, and the sharpening that follows it."""
    count, side = len(rgb), rgb.shape[-1]
    rgb = blur_each(rgb, uniform(draw, (count,)) ** 2 * 2.3)
    rgb = _motion(draw, rgb)
    level = log_uniform(draw, (count, 1, 1, 1), 0.002, 0.06)
    grain = normal(draw, tuple(rgb.shape))
    coarse = torch.stack([band_noise(draw, count, side, 2.0, 6.0) for _ in range(3)], 1)
    mono = _each(chance(draw, count, 0.5))
    grain = grain * (1 - mono) + grain[:, :1] * mono
    mix = uniform(draw, (count, 1, 1, 1), 0.0, 0.7)
    rgb = rgb + level * (0.4 + rgb.sqrt()) * (grain * (1 - mix) + coarse * mix)
    amount = uniform(draw, (count, 1, 1, 1)) ** 2 * 1.5
    return (rgb + amount * (rgb - blur(rgb, 1.2))).clamp(0, 1)


def _motion(draw: torch.Generator, rgb: Tensor) -> Tensor:
    """A straight shake of up to 5 px for one picture in six."""
    count, reach = len(rgb), 3
    angle = uniform(draw, (count, 1, 1), 0, math.pi)
    half = uniform(draw, (count, 1, 1), 0.3, 2.5) * chance(draw, count, 0.17)
    at = torch.arange(-reach, reach + 1, device=rgb.device, dtype=torch.float32)
    along = at[None, None, :] * angle.cos() + at[None, :, None] * angle.sin()
    across = -at[None, None, :] * angle.sin() + at[None, :, None] * angle.cos()
    kernel = (half + 0.5 - along.abs()).clamp(0, 1) * (1 - across.abs()).clamp(0, 1)
    kernel = kernel / kernel.sum((1, 2), keepdim=True)
    padded = F.pad(rgb, (reach,) * 4, mode="reflect").flatten(0, 1)[None]
    return F.conv2d(padded, kernel.repeat_interleave(3, 0)[:, None], groups=3 * count).view_as(rgb)


# The example tables of the JPEG standard (ITU-T T.81, annex K), quoted from memory.
_LUMA = (
    "16 11 10 16 24 40 51 61 12 12 14 19 26 58 60 55 "
    "14 13 16 24 40 57 69 56 14 17 22 29 51 87 80 62 "
    "18 22 37 56 68 109 103 77 24 35 55 64 81 104 113 92 "
    "49 64 78 87 103 121 120 101 72 92 95 98 112 100 103 99"
)
_CHROMA = (
    "17 18 24 47 99 99 99 99 18 21 26 66 99 99 99 99 "
    "24 26 56 99 99 99 99 99 47 66 99 99 99 99 99 99 " + "99 " * 32
)


def jpeg(rgb: Tensor, quality: Tensor) -> Tensor:
    """JPEG at ``(B,)`` qualities 1 to 100: quantised 8 x 8 cosine blocks, colour at half resolution."""
    side, device = rgb.shape[-1], rgb.device
    quality = quality.view(-1, 1, 1, 1, 1)
    factor = torch.where(quality < 50, 50 / quality, 2 - quality / 50)
    luma = rgb[:, 0] * 0.299 + rgb[:, 1] * 0.587 + rgb[:, 2] * 0.114
    blue, red = (rgb[:, 2] - luma) * 0.564, (rgb[:, 0] - luma) * 0.713
    chroma = F.avg_pool2d(torch.stack([blue, red], 1), 2)
    tables = [torch.tensor([float(v) for v in t.split()], device=device).view(8, 8) for t in (_LUMA, _CHROMA)]
    luma = _quantised(luma[:, None], tables[0], factor)[:, 0]
    chroma = _quantised(chroma, tables[1], factor)
    blue, red = F.interpolate(chroma, size=side, mode="bilinear", align_corners=False).unbind(1)
    red, blue = luma + red / 0.713, luma + blue / 0.564
    green = (luma - 0.299 * red - 0.114 * blue) / 0.587
    return torch.stack([red, green, blue], 1).clamp(0, 1)


def _quantised(field: Tensor, table: Tensor, factor: Tensor) -> Tensor:
    count, channels, side, _ = field.shape
    k = torch.arange(8, device=field.device, dtype=torch.float32)
    cosine = torch.cos(math.pi / 8 * (k[None, :] + 0.5) * k[:, None]) / 2
    cosine[0] /= math.sqrt(2.0)
    blocks = field.view(count, channels, side // 8, 8, side // 8, 8).transpose(3, 4) * 255 - 128
    waves = cosine @ blocks @ cosine.T
    step = (table * factor[..., None]).clamp_min(1.0)
    waves = torch.round(waves / step) * step
    back = cosine.T @ waves @ cosine
    return ((back + 128) / 255).transpose(3, 4).reshape(count, channels, side, side)

"""What the small networks that look at places of a wall share: layers, other light and soil, learning."""

import math

import torch
from torch import Tensor, nn

from rootread.train.net import Convolution

GREY_SHARE, SWAPPED_SHARE = 0.15, 0.1
"""Of pictures of other soils, how many lose their colour, and in how many the channels change places."""


def convolutions(inputs: int, widths: tuple[int, ...], stride: int | tuple[int, int]) -> list[nn.Module]:
    """From one of ``widths`` channels to the next, halving the resolution; ``stride`` is of the first."""
    first, second, third, last = widths
    return [
        Convolution(inputs, first, stride=stride),
        Convolution(first, second, stride=2),
        Convolution(second, second),
        Convolution(second, third, stride=2),
        Convolution(third, third),
        Convolution(third, last, stride=2),
        Convolution(last, last),
    ]


def mixed(inputs: int, hidden: int, outputs: int, dropped: float) -> nn.Sequential:
    """What was seen and what is known, mixed into answers."""
    return nn.Sequential(
        nn.Linear(inputs, 2 * hidden),
        nn.ReLU(inplace=True),
        nn.Dropout(dropped),
        nn.Linear(2 * hidden, hidden),
        nn.ReLU(inplace=True),
        nn.Linear(hidden, outputs),
    )


def relit(pictures: Tensor) -> Tensor:
    """Pictures in other light, with noise.

    ``(S, 5, M, N)``: red, green, blue, probability of root, and whether the pixel shows anything, 0 to 255.
    """
    seen = pictures[:, :4].float()
    gain = 0.75 + 0.5 * torch.rand(len(pictures), 4, 1, 1, device=pictures.device)
    gain[:, 3] = 1
    shift = 6 * torch.randn(len(pictures), 4, 1, 1, device=pictures.device)
    seen = (seen * gain + shift + 4 * torch.randn_like(seen)).clamp(0, 255) * (pictures[:, 4:] > 0)
    return torch.cat([seen, pictures[:, 4:].float()], 1)


def half_strange(pictures: Tensor) -> Tensor:
    """Half of such pictures with the contrast, colours and sharpness of other soils and cameras."""
    count, device = len(pictures), pictures.device
    draw = torch.rand(5, count, 1, 1, 1, device=device)
    rgb, there = pictures[:, :3], pictures[:, 4:] > 0
    mean = (rgb * there).sum((2, 3), keepdim=True) / there.sum((2, 3), keepdim=True).clamp_min(1)
    rgb = mean + (rgb - mean) * (0.5 + 1.2 * draw[0])
    grey = rgb.mean(1, keepdim=True).expand_as(rgb)
    rgb = torch.where(draw[1] < GREY_SHARE, grey, rgb)
    soft = nn.functional.avg_pool2d(rgb, 3, 1, 1, count_include_pad=False)
    sharp = rgb + (4 * draw[2] - 3) * 1.2 * (rgb - soft)
    rgb = torch.where(draw[2] < 0.25, soft, torch.where(draw[2] > 0.75, sharp, rgb))
    swap = torch.rand(count, 3, device=device).argsort(1)[:, :, None, None].expand_as(rgb)
    rgb = torch.where(draw[3] < SWAPPED_SHARE, rgb.gather(1, swap), rgb)
    strange = torch.cat([rgb.clamp(0, 255) * there, pictures[:, 3:]], 1)
    return torch.where(draw[4] < 0.5, strange, pictures)


def falling(peak_rate: float, done: float) -> float:
    """The rate of learning when a share of it is done: from its peak down to a hundredth, as a cosine."""
    return peak_rate * (0.01 + 0.99 * 0.5 * (1 + math.cos(math.pi * done)))


def learn_from(loss: Tensor, net: nn.Module, optimiser: torch.optim.Optimizer, rate: float) -> None:
    """One step down a loss, at a rate."""
    for group in optimiser.param_groups:
        group["lr"] = rate
    optimiser.zero_grad(set_to_none=True)
    loss.backward()
    torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
    optimiser.step()

"""The network: a U-Net whose wide, costly levels are narrow and whose deep, cheap levels are wide.

The picture enters through a 6 x 6 convolution of stride 2, so nothing but the
last reshuffle runs at full resolution; widths that are multiples of 16 fill
the vector units of today's processors.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import TypeVar

import torch
import torch.nn.functional as F  # noqa: N812
from torch import Tensor, nn

WIDTHS = (16, 48, 96, 128, 192)
"""Channels at 1/2, 1/4, 1/8, 1/16 and 1/32 of the picture's resolution."""
DOWN_CONVOLUTIONS = (1, 2, 2, 2, 1)
UP_CONVOLUTIONS = (1, 1, 1, 2)
STRIDE = 2 ** len(WIDTHS)
"""Sides of the picture are multiples of this."""


Net = TypeVar("Net", bound=nn.Module)


@dataclass(frozen=True)
class Outputs:
    """What the network says of ``(B, 3, M, N)`` pictures."""

    root_logit: Tensor
    """``(B, M, N)``."""
    shape: Tensor
    """``(B, 3, M/2, N/2)``: cos 2a, sin 2a, and the logarithm of the half-width in pixels."""


class Convolution(nn.Sequential):
    """Convolution, batch norm and, unless a sum follows, ReLU."""

    def __init__(
        self,
        inputs: int,
        outputs: int,
        side: int = 3,
        stride: int | tuple[int, int] = 1,
        relu: bool = True,
    ) -> None:
        down, along = (stride, stride) if isinstance(stride, int) else stride
        padding = (side - down + 1) // 2, (side - along + 1) // 2
        layers: list[nn.Module] = [
            nn.Conv2d(inputs, outputs, side, (down, along), padding, bias=False),
            nn.BatchNorm2d(outputs),
        ]
        super().__init__(*layers, *([nn.ReLU(inplace=True)] if relu else []))


class Stage(nn.Module):
    """Convolutions of one level, or none; two of them learn a residual."""

    def __init__(self, width: int, convolutions: int) -> None:
        super().__init__()
        self.residual = convolutions == 2
        self.body = nn.Sequential(
            *[
                Convolution(width, width, relu=not (self.residual and k == convolutions - 1))
                for k in range(convolutions)
            ]
        )

    def forward(self, x: Tensor) -> Tensor:
        """Same shape out as in."""
        return F.relu(x + self.body(x)) if self.residual else self.body(x)


class UNet(nn.Module):
    """A stem, levels down to where much is seen at once, and up again with what each level kept."""

    def __init__(
        self,
        stem: nn.Module,
        widths: tuple[int, ...],
        down: tuple[int, ...],
        up: tuple[int, ...],
        answers: int,
    ) -> None:
        super().__init__()
        self.stem = stem
        self.enter = nn.ModuleList([Stage(w, n) for w, n in zip(widths, down, strict=True)])
        self.down = nn.ModuleList([Convolution(a, b, 2, 2) for a, b in pairwise(widths)])
        self.up = nn.ModuleList([nn.Conv2d(b, a, 1) for a, b in pairwise(widths)])
        self.leave = nn.ModuleList([Stage(w, n) for w, n in zip(widths[:-1], up, strict=True)])
        self.head = nn.Conv2d(widths[0], answers, 1)

    def after_stem(self, x: Tensor) -> Tensor:
        """From the stem's answer, ``(B, C, M, N)``, to the answers ``(B, A, M, N)``."""
        kept = []
        for level, stage in enumerate(self.enter):
            x = stage(x)
            if level < len(self.down):
                kept.append(x)
                x = self.down[level](x)
        for level in reversed(range(len(self.up))):
            x = F.interpolate(self.up[level](x), scale_factor=2.0, mode="nearest") + kept[level]
            x = self.leave[level](x)
        return self.head(x)


class RootNet(UNet):
    """Picture 0 to 1 in; root, direction and half-width out.

    For each block of 2 x 2 pixels the answers are their logits, row by row, then the block's shape.
    """

    def __init__(self, widths: tuple[int, ...] = WIDTHS) -> None:
        stem = Convolution(3, widths[0], 6, 2)
        super().__init__(stem, widths, DOWN_CONVOLUTIONS, UP_CONVOLUTIONS, 7)
        nn.init.constant_(self.head.bias[:4], -3.0)  # roots are rare: start from that
        nn.init.constant_(self.head.bias[4:], 0.0)

    def forward(self, rgb: Tensor) -> tuple[Tensor, Tensor]:
        """``(B, 3, M, N)`` to root logits ``(B, 1, M, N)`` and shape ``(B, 3, M/2, N/2)``."""
        out = self.after_stem(self.stem(rgb * 4.0 - 2.0))
        return F.pixel_shuffle(out[:, :4], 2), out[:, 4:]

    def read(self, rgb: Tensor) -> Outputs:
        """The outputs by name."""
        logit, shape = self(rgb)
        return Outputs(logit[:, 0].float(), shape.float())


def folded(net: Net) -> Net:
    """The network in ``eval`` mode with each batch norm folded into the convolution before it."""
    from torch.nn.utils.fusion import fuse_conv_bn_eval

    net.eval()
    for module in net.modules():
        if isinstance(module, Convolution):
            module[0] = fuse_conv_bn_eval(module[0], module[1])
            module[1] = nn.Identity()
    return net


def parameter_count(net: nn.Module) -> int:
    """Numbers that are learnt."""
    return sum(p.numel() for p in net.parameters())


@torch.no_grad()
def follow(average: nn.Module, net: nn.Module, keep: float) -> None:
    """Move the running average of the weights, and of what batch norms count on, toward the network's."""
    for mean, now in zip(average.state_dict().values(), net.state_dict().values(), strict=True):
        if mean.is_floating_point():
            mean.lerp_(now, 1 - keep)
        else:
            mean.copy_(now)

"""The network that looks at joins: convolutions over the strip, then the facts with it."""

import torch
from torch import Tensor, nn

from rootread.follow.eye import FACTS
from rootread.follow.strips import ACROSS, CHANNELS, LENGTH
from rootread.train.looker import convolutions, mixed

WIDTHS = (16, 32, 64, 96)
HIDDEN = 64
DROPPED = 0.2


def widened(weights: dict[str, Tensor], facts: Tensor) -> dict[str, Tensor]:
    """Weights that know fewer facts than ``(T, 31)`` ``facts``; those that are new have no influence yet."""
    known = len(weights["mean"])
    first = weights["mix.0.weight"]
    new = torch.zeros(len(first), FACTS - known, device=first.device)
    return weights | {
        "mean": torch.cat([weights["mean"], facts.mean(0)[known:].to(first.device)]),
        "spread": torch.cat([weights["spread"], facts.std(0)[known:].to(first.device) + 1e-3]),
        "mix.0.weight": torch.cat([first, new], dim=1),
    }


class JoinNet(nn.Module):
    """Strips and facts in, costs out.

    It starts as the weighted sum's cost, fact 0, and learns what to take off or add.
    """

    mean: Tensor
    spread: Tensor

    def __init__(self, widths: tuple[int, ...] = WIDTHS) -> None:
        super().__init__()
        last = widths[-1]
        self.body = nn.Sequential(*convolutions(CHANNELS, widths, (1, 2)))
        self.squeeze = nn.Sequential(
            nn.Conv2d(last, last, (ACROSS // 8, 1), bias=False), nn.BatchNorm2d(last), nn.ReLU(inplace=True)
        )
        self.mix = mixed(last * (LENGTH // 16) + FACTS, HIDDEN, 1, DROPPED)
        nn.init.zeros_(self.mix[-1].weight)
        nn.init.zeros_(self.mix[-1].bias)
        self.scale = nn.Parameter(torch.ones(1))
        self.register_buffer("mean", torch.zeros(FACTS))
        self.register_buffer("spread", torch.ones(FACTS))

    def forward(self, strips: Tensor, facts: Tensor) -> Tensor:
        """``(T, 5, 24, 128)`` 0 to 255 and ``(T, 31)`` to ``(T,)`` costs."""
        x = strips.float() / 255
        there = x[:, 4:5]
        # Colour against the mean of the strip: what changes along it counts, not the light of the day.
        mean = (x[:, :3] * there).sum((2, 3), keepdim=True) / there.sum((2, 3), keepdim=True).clamp_min(1)
        # No farther than 2 either way, so that in whole numbers a step is a grey level.
        colour = ((x[:, :3] - mean) * there * 4).clamp(-2, 2)
        shown = torch.cat([colour, x[:, 3:4] * 2 - 1, there], 1)
        seen = self.squeeze(self.body(shown)).flatten(1)
        known = ((facts - self.mean) / self.spread).clamp(-4, 4)
        return self.scale * facts[:, 0] - self.mix(torch.cat([seen, known], 1))[:, 0]

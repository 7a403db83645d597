"""The network that looks at encounters: convolutions over the picture, then the facts with it."""

import torch
from torch import Tensor, nn

from rootread.follow.encounter_facts import FACTS
from rootread.follow.encounter_pictures import ACROSS, CHANNELS, LENGTH
from rootread.follow.encounters import LINKS
from rootread.train.looker import convolutions, mixed

WIDTHS = (16, 32, 64, 96)
SQUEEZED = 32
HIDDEN = 96
DROPPED = 0.3


class EncounterNet(nn.Module):
    """Pictures and facts in, log-odds out."""

    mean: Tensor
    spread: Tensor

    def __init__(self, widths: tuple[int, ...] = WIDTHS) -> None:
        super().__init__()
        last = widths[-1]
        self.body = nn.Sequential(
            *convolutions(CHANNELS, widths, 2),
            nn.Conv2d(last, SQUEEZED, 1, bias=False),
            nn.BatchNorm2d(SQUEEZED),
            nn.ReLU(inplace=True),
        )
        places = -(-ACROSS // 16) * (LENGTH // 16)
        self.mix = mixed(SQUEEZED * places + FACTS, HIDDEN, len(LINKS), DROPPED)
        self.register_buffer("mean", torch.zeros(FACTS))
        self.register_buffer("spread", torch.ones(FACTS))

    def forward(self, pictures: Tensor, facts: Tensor) -> Tensor:
        """``(S, 9, 56, 128)`` 0 to 255 and ``(S, 97)`` to ``(S, 4)`` log-odds that limbs are of one root."""
        x = pictures.float() / 255
        # Colour against the mean of the picture: what changes over it counts, not the light of the day.
        colour = ((x[:, :3] - x[:, :3].mean((2, 3), keepdim=True)) * 4).clamp(-2, 2)
        shown = torch.cat([colour, x[:, 3:] * 2 - 1], 1)
        seen = self.body(shown).flatten(1)
        known = ((facts - self.mean) / self.spread).clamp(-4, 4)
        said: Tensor = self.mix(torch.cat([seen, known], 1))
        return said

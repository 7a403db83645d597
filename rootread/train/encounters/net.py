"""The network that looks at encounters: convolutions over the picture, then the facts with it."""

import torch
from torch import Tensor, nn

from rootread.follow.encounter_facts import FACTS
from rootread.follow.encounter_pictures import ACROSS, CHANNELS, LENGTH
from rootread.follow.encounters import LINKS
from rootread.train.encounters.truth import CELL_PX
from rootread.train.looker import convolutions, mixed
from rootread.train.net import Convolution, Stage

WIDTHS = (24, 48, 96, 160)
SQUEEZED = 32
HIDDEN = 96
DROPPED = 0.3
COARSE_PX = 16
"""Size of what the last convolution sees at one place."""
FINER = COARSE_PX // CELL_PX
LIMBS = 4


class EncounterNet(nn.Module):
    """Pictures and facts in, log-odds out."""

    mean: Tensor
    spread: Tensor

    def __init__(self, widths: tuple[int, ...] = WIDTHS) -> None:
        super().__init__()
        last = widths[-1]
        self.body = nn.Sequential(*convolutions(CHANNELS, widths, 2), Stage(last, 2))
        self.squeeze = Convolution(last, SQUEEZED, 1)
        # Asked while learning only: who can show where each root runs has understood more than four answers.
        self.show = nn.Sequential(nn.Conv2d(last, LIMBS * FINER**2, 1), nn.PixelShuffle(FINER))
        places = (ACROSS // COARSE_PX) * (LENGTH // COARSE_PX)
        self.mix = mixed(SQUEEZED * places + FACTS, HIDDEN, len(LINKS), DROPPED)
        self.register_buffer("mean", torch.zeros(FACTS))
        self.register_buffer("spread", torch.ones(FACTS))

    def forward(self, pictures: Tensor, facts: Tensor) -> Tensor:
        """``(S, 11, 96, 192)`` 0 to 255 and ``(S, 97)`` to ``(S, 4)`` log-odds that limbs are of one root."""
        return self._told(self._seen(pictures), facts)

    def both(self, pictures: Tensor, facts: Tensor) -> tuple[Tensor, Tensor]:
        """The same, and ``(S, 4, 12, 24)`` log-odds that the true root of each limb lies at a place."""
        seen = self._seen(pictures)
        shown: Tensor = self.show(seen)
        return self._told(seen, facts), shown

    def _seen(self, pictures: Tensor) -> Tensor:
        x = pictures.float() / 255
        # Colour against the mean of the picture: what changes over it counts, not the light of the day.
        colour = ((x[:, :3] - x[:, :3].mean((2, 3), keepdim=True)) * 4).clamp(-2, 2)
        shown = torch.cat([colour, x[:, 3:] * 2 - 1], 1)
        seen: Tensor = self.body(shown)
        return seen

    def _told(self, seen: Tensor, facts: Tensor) -> Tensor:
        known = ((facts - self.mean) / self.spread).clamp(-4, 4)
        said: Tensor = self.mix(torch.cat([self.squeeze(seen).flatten(1), known], 1))
        return said

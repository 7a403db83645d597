"""One network or several asked as one: the mean of what they say, no surer than they are right.

A network that has learnt its walls by heart is too sure of others, in other
places than its fellows. How far log-odds are to be believed is fitted
on walls that none has learnt from (temperature scaling: Guo and others,
International Conference on Machine Learning, 2017; from memory).
"""

from pathlib import Path

import torch
from torch import Tensor, nn

from rootread.train.encounters.examples import Examples
from rootread.train.encounters.net import EncounterNet
from rootread.train.encounters.run import LOOK, link_loss
from rootread.train.packed import unpacked

KINDS = (0, 0, 1, 1)
"""Links that are there, and others: each kind has one scale and one shift."""
STEPS = 100


class Panel(nn.Module):
    """Pictures and facts in, log-odds out, by several networks."""

    def __init__(self, nets: list[EncounterNet]) -> None:
        super().__init__()
        self.nets = nn.ModuleList(nets)
        self.scale = nn.Parameter(torch.ones(2))
        self.shift = nn.Parameter(torch.zeros(2))

    @classmethod
    def of(cls, files: list[Path]) -> "Panel":
        """Of the weights in some files."""
        nets = []
        for file in files:
            net = EncounterNet()
            net.load_state_dict(unpacked(torch.load(file, map_location="cpu", weights_only=True)))
            nets.append(net)
        return cls(nets).eval()

    def forward(self, pictures: Tensor, facts: Tensor) -> Tensor:
        """``(S, 11, 96, 192)`` and ``(S, 97)`` to ``(S, 4)``, as of one network."""
        return self.believed(torch.stack([net(pictures, facts) for net in self.nets]).mean(0))

    def believed(self, said: Tensor) -> Tensor:
        """``(S, 4)`` log-odds as far as they are to be believed."""
        return said * self.scale[list(KINDS)] + self.shift[list(KINDS)]

    def fit(self, walls: Examples) -> None:
        """Find scales and shifts on walls that no network has learnt from."""
        parts = range(0, len(walls.facts), LOOK)
        with torch.no_grad():
            said = torch.cat(
                [
                    torch.stack(
                        [net(walls.pictures[k : k + LOOK], walls.facts[k : k + LOOK]) for net in self.nets]
                    ).mean(0)
                    for k in parts
                ]
            )
        optimiser = torch.optim.LBFGS([self.scale, self.shift], max_iter=STEPS)

        def loss() -> Tensor:
            optimiser.zero_grad()
            found = link_loss(self.believed(said), walls.of_one, walls.weight)
            found.backward()
            return found

        optimiser.step(loss)

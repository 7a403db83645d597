"""Learn to tell right joins: ``python -m rootread.train.joins.run FOLDER OUT.pt [--minutes M]``.

The loss is a conditional likelihood: at every end, that of each of its right joins against the wrong ones
and against the root ending there.
"""

import argparse
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn

from rootread.train.joins.net import WIDTHS, JoinNet, widened
from rootread.train.looker import falling, half_strange, learn_from, relit
from rootread.train.net import follow
from rootread.train.packed import unpacked

ENDS_A_STEP = 1536
PEAK_RATE = 3e-3
WEIGHT_DECAY = 0.03
WARM_STEPS = 200
AVERAGE_KEEP = 0.998
HELD_OUT_SHARE = 0.05
LOOK = 4096


@dataclass
class Examples:
    """Joins of many walls, and which of them meet at which end."""

    strips: Tensor
    facts: Tensor
    right: Tensor
    apart: Tensor
    ends: Tensor
    """Ends learnt from."""
    join: Tensor
    """Joins in the order of their ends; each is there twice."""
    first: Tensor
    count: Tensor

    @classmethod
    def read(cls, files: list[Path], device: torch.device) -> "Examples":
        """All walls of some files."""
        parts: dict[str, list[NDArray[np.generic]]] = {
            k: [] for k in ("strips", "facts", "right", "apart", "learnt", "pair")
        }
        ends = 0
        for file in files:
            with np.load(file) as wall:
                for name in parts:
                    parts[name].append(wall[name] + ends if name == "pair" else wall[name])
                ends += len(wall["apart"])
        whole = {name: torch.from_numpy(np.concatenate(values)) for name, values in parts.items()}
        end = whole["pair"].T.reshape(-1).long()
        order = torch.argsort(end, stable=True)
        count = torch.bincount(end, minlength=ends)
        learnt = torch.nonzero(whole["learnt"] & (count > 0))[:, 0]
        join = torch.arange(len(whole["pair"])).repeat(2)[order]
        tensors = (whole["strips"], whole["facts"], whole["right"], whole["apart"], learnt, join)
        return cls(*(t.to(device) for t in (*tensors, torch.cumsum(count, 0) - count, count)))

    def at(self, ends: Tensor) -> tuple[Tensor, Tensor]:
        """The joins at some ends, and which of these ends each is at."""
        count = self.count[ends]
        place = torch.repeat_interleave(torch.arange(len(ends), device=ends.device), count)
        along = torch.arange(len(place), device=ends.device)
        along = along - torch.repeat_interleave(torch.cumsum(count, 0) - count, count)
        return self.join[self.first[ends][place] + along], place


def end_loss(cost: Tensor, right: Tensor, place: Tensor, apart: Tensor) -> Tensor:
    """``(n,)`` negative log-likelihood at each end: of a right join, in the mean, or of ending there.

    An end has several right joins, to the next piece of its root and to those after it. Each is weighed
    against the wrong ones and against the root ending there, but not against its fellows: if they
    shared one chance, as each other's rivals, none of them could come out cheap.
    """
    count = len(apart)
    wrong = torch.where(right, -1e9, -cost)
    most = torch.full((count,), -1e9, device=cost.device).scatter_reduce(0, place, wrong, "amax")
    most = torch.maximum(most, -apart).detach()
    nothing = torch.zeros(count, device=cost.device)
    share = (wrong - most[place]).exp() * ~right
    against = (nothing.index_add(0, place, share) + (-apart - most).exp()).log() + most
    # -log(e^-c / (e^-c + against)), of each right join.
    each = nn.functional.softplus(against[place] + cost) * right
    rights = nothing.index_add(0, place, right.float())
    mean = nothing.index_add(0, place, each) / rights.clamp_min(1)
    return torch.where(rights > 0, mean, against + apart)


def varied(strips: Tensor) -> Tensor:
    """Strips read from the other end, from the other side, in other light, with noise."""
    turned = torch.rand(2, len(strips), 1, 1, 1, device=strips.device) < 0.5
    strips = torch.where(turned[0], strips.flip(3), strips)
    return relit(torch.where(turned[1], strips.flip(2), strips))


def estranged(strips: Tensor) -> Tensor:
    """Strips varied, half of them as of other soils and cameras."""
    return half_strange(varied(strips))


@torch.no_grad()
def figures(net: nn.Module, examples: Examples) -> dict[str, float]:
    """Mean loss, and the percentage of ends at which the cheapest join is right where one is, another not."""
    net.eval()
    parts = range(0, len(examples.facts), LOOK)
    cost = torch.cat([net(examples.strips[k : k + LOOK], examples.facts[k : k + LOOK]) for k in parts])
    join, place = examples.at(examples.ends)
    right = examples.right[join]
    nothing = torch.zeros(len(examples.ends), device=cost.device)
    least = (nothing + 1e9).scatter_reduce(0, place, cost[join], "amin")
    first = nothing.index_add(0, place, (right & (cost[join] <= least[place])).float()) > 0
    asked = (nothing.index_add(0, place, right.float()) > 0) & (
        nothing.index_add(0, place, (~right).float()) > 0
    )
    loss = end_loss(cost[join], right, place, examples.apart[examples.ends]).mean()
    return {"loss": float(loss), "right_first": 100 * float(first[asked].float().mean())}


def learn(files: list[Path], out: Path, minutes: float, rate: float, resume: Path | None, ends: int) -> None:
    """Learn for some minutes; the weights averaged over the last steps are written."""
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.manual_seed(0)
    files = [files[k] for k in np.random.default_rng(0).permutation(len(files))]
    held_out = max(round(HELD_OUT_SHARE * len(files)), 1)
    check, walls = Examples.read(files[:held_out], device), Examples.read(files[held_out:], device)
    net, average = JoinNet(WIDTHS).to(device), JoinNet(WIDTHS).to(device)
    net.mean.copy_(walls.facts.mean(0))
    net.spread.copy_(walls.facts.std(0) + 1e-3)
    if resume:
        net.load_state_dict(
            widened(unpacked(torch.load(resume, map_location=device, weights_only=True)), walls.facts)
        )
    average.load_state_dict(net.state_dict())
    optimiser = torch.optim.AdamW(net.parameters(), rate, weight_decay=WEIGHT_DECAY)
    print(f"{len(files)} walls, {len(walls.facts)} joins; before: {figures(net, check)}", flush=True)
    begun, step = time.monotonic(), 10 * WARM_STEPS if resume else 0
    while (done := (time.monotonic() - begun) / (60 * minutes)) < 1:
        chosen = walls.ends[torch.randint(len(walls.ends), (ends,), device=device)]
        join, place = walls.at(chosen)
        net.train()
        with torch.autocast(device.type, torch.bfloat16, enabled=device.type == "cuda"):
            cost = net(estranged(walls.strips[join]), walls.facts[join])
        loss = end_loss(cost.float(), walls.right[join], place, walls.apart[chosen]).mean()
        learn_from(loss, net, optimiser, falling(rate, done) * min(1.0, step / WARM_STEPS))
        step += 1
        follow(average, net, min(AVERAGE_KEEP, 1 - 1 / (step + 1)))
        if step % 250 == 0:
            print(f"step {step}: loss {float(loss):.3f}, held out {figures(average, check)}", flush=True)
    print(f"after {step} steps: {figures(average, check)}", flush=True)
    torch.save(average.state_dict(), out)


def main() -> None:
    """Learn from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--minutes", type=float, default=8.5)
    parser.add_argument("--rate", type=float, default=PEAK_RATE)
    parser.add_argument("--resume", type=Path)
    parser.add_argument("--ends", type=int, default=ENDS_A_STEP, help="ends in a step")
    given = parser.parse_args()
    files = sorted(given.folder.glob("*.npz"))
    learn(files, given.out, given.minutes, given.rate, given.resume, given.ends)


if __name__ == "__main__":
    main()

"""Learn which limbs are of one root.

usage: python -m rootread.train.encounters.run FOLDER OUT.pt [--minutes M]
"""

import argparse
import math
import time
from dataclasses import dataclass
from multiprocessing.pool import ThreadPool
from pathlib import Path

import numpy as np
import torch
from torch import Tensor, nn

from rootread.follow.encounter_facts import LIMB_FACTS, PAIR_FACTS, PLACE_FACTS, THERE, TURN
from rootread.follow.encounter_pictures import ACROSS, LENGTH
from rootread.follow.encounters import LINKS, PLANS
from rootread.follow.regroup import LEAST_GAIN, best_plans
from rootread.train.encounters.net import LIMBS, EncounterNet
from rootread.train.encounters.truth import SHOWN
from rootread.train.looker import falling, half_strange, learn_from, relit
from rootread.train.net import follow

ENCOUNTERS_A_STEP = 1024
PEAK_RATE = 2e-3
WEIGHT_DECAY = 0.05
WARM_STEPS = 200
AVERAGE_KEEP = 0.998
HELD_OUT_SHARE = 0.05
SHORTEST_IN = 0.2
"""A link between short limbs counts less than one between limbs of an inch and more, no less than this."""
SHOWING_SHARE = 1.0
"""How much it counts where the true roots lie, beside which limbs are of one."""
MOST_TURN, MOST_ZOOM, MOST_MOVE = 0.15, 0.2, 0.1
"""Pictures are turned (radians), zoomed and moved (of half their size) by no more than this."""
LOOK = 2048
STEPS_A_LOOK = 500
READERS = 16


@dataclass
class Examples:
    """Encounters of many walls."""

    pictures: Tensor
    facts: Tensor
    of_one: Tensor
    """``(S, 4)`` whether limbs are of one root: 1, -1, or 0 where one is not there."""
    weight: Tensor
    """``(S, 4)`` how much each counts."""
    onto: Tensor
    """``(S, 4, 14, 32)`` where the true root of each limb lies: 1, 0, or -1 where it has none."""

    @classmethod
    def read(cls, files: list[Path], device: torch.device) -> "Examples":
        """All walls of some files."""
        with ThreadPool(READERS) as readers:
            counts = readers.map(_count, files)
            at = np.cumsum([0, *counts])
            with np.load(files[0]) as wall:
                shape = wall["pictures"].shape[1:], wall["facts"].shape[1:]
            pictures = torch.empty((at[-1], *shape[0]), dtype=torch.uint8, device=device)
            facts = torch.empty((at[-1], *shape[1]), device=device)
            of_one = torch.empty((at[-1], len(LINKS)), dtype=torch.int8, device=device)
            weight = torch.empty((at[-1], len(LINKS)), device=device)
            onto = torch.empty((at[-1], LIMBS, *SHOWN), dtype=torch.int8, device=device)

            def fill(k: int) -> None:
                with np.load(files[k]) as wall:
                    here = slice(at[k], at[k + 1])
                    pictures[here] = torch.from_numpy(wall["pictures"]).to(device)
                    facts[here] = torch.from_numpy(wall["facts"]).to(device)
                    of_one[here] = torch.from_numpy(wall["of_one"]).to(device)
                    onto[here] = torch.from_numpy(wall["onto"]).to(device)
                    shorter = wall["length"][:, LINKS].min(axis=2).clip(SHORTEST_IN, 1.0)
                    weight[here] = torch.from_numpy(shorter * (wall["of_one"] != 0)).to(device)

            readers.map(fill, range(len(files)))
        return cls(pictures, facts, of_one, weight, onto)


def _count(file: Path) -> int:
    with np.load(file) as wall:
        return len(wall["facts"])


def link_loss(said: Tensor, of_one: Tensor, weight: Tensor) -> Tensor:
    """Mean negative log-likelihood of which limbs are of one root."""
    each = nn.functional.binary_cross_entropy_with_logits(said, (of_one > 0).float(), reduction="none")
    return (each * weight).sum() / weight.sum()


def showing_loss(shown: Tensor, onto: Tensor) -> Tensor:
    """Mean negative log-likelihood of where the true roots lie."""
    each = nn.functional.binary_cross_entropy_with_logits(shown, (onto > 0).float(), reduction="none")
    asked = onto >= 0
    return (each * asked).sum() / asked.sum().clamp_min(1)


def varied(walls: Examples, chosen: Tensor) -> Examples:
    """Encounters with the roots called the other way, seen in a mirror, askew, in other light and soils."""
    pictures, facts, onto = walls.pictures[chosen], walls.facts[chosen], walls.onto[chosen]
    of_one, weight = walls.of_one[chosen], walls.weight[chosen]
    count, device = len(pictures), pictures.device
    draw = torch.rand(2, count, device=device) < 0.5
    exchanged, mirrored = draw[0], draw[1]
    other = pictures[:, [0, 1, 2, 3, 6, 7, 4, 5, 8]]
    pictures = torch.where(exchanged[:, None, None, None], other, pictures)
    onto = torch.where(exchanged[:, None, None, None], onto[:, [2, 3, 0, 1]], onto)
    pictures = torch.where(mirrored[:, None, None, None], pictures.flip(2), pictures)
    onto = torch.where(mirrored[:, None, None, None], onto.flip(2), onto)
    facts = torch.where(exchanged[:, None], facts[:, called_otherwise(device)], facts)
    # In a mirror a root that bends to the left bends to the right.
    bends = PLACE_FACTS + LIMB_FACTS * torch.arange(4, device=device) + TURN
    facts = facts.clone()
    facts[:, bends] = torch.where(mirrored[:, None], -facts[:, bends], facts[:, bends])
    of_one = torch.where(exchanged[:, None], of_one[:, [1, 0, 3, 2]], of_one)
    weight = torch.where(exchanged[:, None], weight[:, [1, 0, 3, 2]], weight)
    seen, onto = askew(pictures, onto)
    shown = half_strange(relit(torch.cat([seen[:, :4], torch.full_like(seen[:, :1], 255)], 1)))
    return Examples(torch.cat([shown[:, :4], seen[:, 4:]], 1), facts, of_one, weight, onto)


def askew(pictures: Tensor, onto: Tensor) -> tuple[Tensor, Tensor]:
    """Pictures, and what lies where in them, turned a little, moved, and nearer or farther."""
    count, device = len(pictures), pictures.device
    turn, zoom, *move = torch.randn(4, count, device=device)
    turn, zoom = MOST_TURN * turn.clamp(-2, 2) / 2, 1 + MOST_ZOOM * zoom.clamp(-2, 2) / 2
    slim = ACROSS / LENGTH
    rows = [
        torch.stack([zoom * turn.cos(), -slim * zoom * turn.sin(), MOST_MOVE * move[0].clamp(-2, 2) / 2], 1),
        torch.stack([zoom * turn.sin() / slim, zoom * turn.cos(), MOST_MOVE * move[1].clamp(-2, 2) / 2], 1),
    ]
    places = torch.stack(rows, 1)

    def moved(layers: Tensor, mode: str, beyond: str) -> Tensor:
        grid = nn.functional.affine_grid(places, list(layers.shape), align_corners=False)
        return nn.functional.grid_sample(layers, grid, mode, beyond, align_corners=False)

    return moved(pictures.float(), "bilinear", "zeros"), moved(onto.float(), "nearest", "border")


def called_otherwise(device: torch.device) -> Tensor:
    """The order of facts when the first root is called the second."""
    whole = [0, 1, 3, 2, 4, 7, 8, 5, 6]
    limb = [PLACE_FACTS + LIMB_FACTS * k + f for k in (2, 3, 0, 1) for f in range(LIMB_FACTS)]
    pairs_at = PLACE_FACTS + 4 * LIMB_FACTS
    pair = [pairs_at + PAIR_FACTS * k + f for k in (1, 0, 3, 2) for f in range(PAIR_FACTS)]
    return torch.tensor([*whole, *limb, *pair], device=device)


@torch.no_grad()
def figures(net: nn.Module, examples: Examples) -> dict[str, float]:
    """Mean loss; how well links that are there and others are told; what is relinked for better and worse.

    Average precision is that of wrong ones of the links that are there, and of right ones of the others.
    """
    net.eval()
    parts = range(0, len(examples.facts), LOOK)
    said = torch.cat([net(examples.pictures[k : k + LOOK], examples.facts[k : k + LOOK]) for k in parts])
    truth = examples.of_one
    loss = link_loss(said, truth, examples.weight)
    found = {"loss": float(loss)}
    for name, links, sign in (("wrong", slice(0, 2), -1), ("right", slice(2, 4), 1)):
        asked = truth[:, links] != 0
        order = (sign * said[:, links])[asked].argsort(descending=True)
        hit = (truth[:, links][asked] == sign)[order].float()
        precision = hit.cumsum(0) / torch.arange(1, len(hit) + 1, device=hit.device)
        found[f"precision_{name}"] = round(float((precision * hit).sum() / hit.sum()), 4)
    there = examples.facts[:, THERE].cpu().numpy() > 0
    plan, gain = best_plans(said.double().cpu().numpy(), there)
    right = truth.cpu().numpy().astype(int)
    after = (right * np.array(PLANS)[plan]).sum(axis=1)
    better = (after - right[:, :2].sum(axis=1))[gain > LEAST_GAIN]
    found["better"], found["worse"] = int((better > 0).sum()), int((better < 0).sum())
    return found


def learn(files: list[Path], out: Path, minutes: float, rate: float, resume: Path | None, seed: int) -> None:
    """Learn for some minutes; of the averaged weights those that tell other walls best are written."""
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.manual_seed(seed)
    files = [files[k] for k in np.random.default_rng(0).permutation(len(files))]
    held_out = max(round(HELD_OUT_SHARE * len(files)), 1)
    check, walls = Examples.read(files[:held_out], device), Examples.read(files[held_out:], device)
    net, average = EncounterNet().to(device), EncounterNet().to(device)
    net.mean.copy_(walls.facts.mean(0))
    net.spread.copy_(walls.facts.std(0) + 1e-3)
    if resume:
        net.load_state_dict(torch.load(resume, map_location=device, weights_only=True))
    average.load_state_dict(net.state_dict())
    optimiser = torch.optim.AdamW(net.parameters(), rate, weight_decay=WEIGHT_DECAY)
    print(f"{len(files)} walls, {len(walls.facts)} encounters", flush=True)
    begun, step, least = time.monotonic(), 0, math.inf
    while (done := (time.monotonic() - begun) / (60 * minutes)) < 1:
        chosen = torch.randint(len(walls.facts), (ENCOUNTERS_A_STEP,), device=device)
        drawn = varied(walls, chosen)
        net.train()
        with torch.autocast(device.type, torch.bfloat16, enabled=device.type == "cuda"):
            said, shown = net.both(drawn.pictures, drawn.facts)
        loss = link_loss(said.float(), drawn.of_one, drawn.weight)
        loss = loss + SHOWING_SHARE * showing_loss(shown.float(), drawn.onto)
        step += 1
        learn_from(loss, net, optimiser, falling(rate, done) * min(1.0, step / WARM_STEPS))
        follow(average, net, min(AVERAGE_KEEP, 1 - 1 / (step + 1)))
        if step % STEPS_A_LOOK == 0:
            print(f"step {step}, {done:.0%}: loss {float(loss.detach()):.3f}", flush=True)
            least = keep_if_best(average, check, out, least)
    keep_if_best(average, check, out, least)


def keep_if_best(net: nn.Module, check: Examples, out: Path, least: float) -> float:
    """Write the weights if their loss on walls kept from learning is less than ``least``; the lesser."""
    found = figures(net, check)
    print(f"held out: {found}", flush=True)
    if found["loss"] < least:
        torch.save(net.state_dict(), out)
    return min(found["loss"], least)


def main() -> None:
    """Learn from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--minutes", type=float, default=8.0)
    parser.add_argument("--rate", type=float, default=PEAK_RATE)
    parser.add_argument("--resume", type=Path)
    parser.add_argument("--seed", type=int, default=0)
    given = parser.parse_args()
    files = sorted(given.folder.glob("*.npz"))
    learn(files, given.out, given.minutes, given.rate, given.resume, given.seed)


if __name__ == "__main__":
    main()

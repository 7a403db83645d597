"""Learn which limbs are of one root.

usage: python -m rootread.train.encounters.run FOLDER OUT.pt [--minutes M] [--resume W.pt --part FROM TO]

Where one run may not be long enough, several learn a part of the whole each, such as 0 to 0.3 and 0.3 to 1:
the rate falls over all of them, and walls made in the meantime join in.
"""

import argparse
import math
import time
from pathlib import Path

import numpy as np
import torch
from torch import Tensor, nn

from rootread.follow.encounter_facts import THERE
from rootread.follow.encounters import PLANS
from rootread.follow.regroup import LEAST_GAIN, best_plans
from rootread.train.encounters.examples import Examples
from rootread.train.encounters.net import EncounterNet
from rootread.train.encounters.varied import varied
from rootread.train.looker import falling, learn_from
from rootread.train.net import follow
from rootread.train.packed import unpacked

ENCOUNTERS_A_STEP = 1024
PEAK_RATE = 2e-3
WEIGHT_DECAY = 0.05
WARM_STEPS = 200
AVERAGE_KEEP = 0.998
HELD_OUT_EVERY = 20
"""Walls whose seeds are multiples of this are kept from learning, however many there are by now."""
SHOWING_SHARE = 1.0
"""How much it counts where the true roots lie, beside which limbs are of one."""
LOOK = 2048
STEPS_A_LOOK = 500


def link_loss(said: Tensor, of_one: Tensor, weight: Tensor) -> Tensor:
    """Mean negative log-likelihood of which limbs are of one root."""
    each = nn.functional.binary_cross_entropy_with_logits(said, (of_one > 0).float(), reduction="none")
    return (each * weight).sum() / weight.sum()


def showing_loss(shown: Tensor, onto: Tensor) -> Tensor:
    """Mean negative log-likelihood of where the true roots lie."""
    each = nn.functional.binary_cross_entropy_with_logits(shown, (onto > 0).float(), reduction="none")
    asked = onto >= 0
    return (each * asked).sum() / asked.sum().clamp_min(1)


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


def is_held_out(file: Path) -> bool:
    """Whether a wall is kept from learning, by the seed in its name."""
    return int(file.stem.rpartition("-")[2]) % HELD_OUT_EVERY == 0


def learn(
    files: list[Path],
    out: Path,
    minutes: float,
    rate: float,
    resume: Path | None = None,
    seed: int = 0,
    part: tuple[float, float] = (0.0, 1.0),
) -> None:
    """Learn for some minutes; of the averaged weights those that tell other walls best are written.

    ``part`` is what of the whole learning this is, by which the rate falls.
    """
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.manual_seed(seed)
    check = Examples.read([file for file in files if is_held_out(file)], device)
    walls = Examples.read([file for file in files if not is_held_out(file)], device)
    # Layers of a picture side by side in memory: convolutions of the network that learns are faster so.
    net = EncounterNet().to(device, memory_format=torch.channels_last)
    average = EncounterNet().to(device)
    net.mean.copy_(walls.facts.mean(0))
    net.spread.copy_(walls.facts.std(0) + 1e-3)
    if resume:
        net.load_state_dict(unpacked(torch.load(resume, map_location=device, weights_only=True)))
    average.load_state_dict(net.state_dict())
    optimiser = torch.optim.AdamW(net.parameters(), rate, weight_decay=WEIGHT_DECAY)
    print(f"{len(files)} walls, {len(walls.facts)} encounters", flush=True)
    begun, step, least = time.monotonic(), 0, math.inf
    while (done := (time.monotonic() - begun) / (60 * minutes)) < 1:
        chosen = torch.randint(len(walls.facts), (ENCOUNTERS_A_STEP,), device=device)
        drawn = varied(walls.some(chosen))
        net.train()
        with torch.autocast(device.type, torch.bfloat16, enabled=device.type == "cuda"):
            said, shown = net.both(drawn.pictures, drawn.facts)
        loss = link_loss(said.float(), drawn.of_one, drawn.weight)
        loss = loss + SHOWING_SHARE * showing_loss(shown.float(), drawn.onto)
        step += 1
        of_whole = part[0] + (part[1] - part[0]) * done
        learn_from(loss, net, optimiser, falling(rate, of_whole) * min(1.0, step / WARM_STEPS))
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
    parser.add_argument("--part", type=float, nargs=2, default=(0.0, 1.0))
    given = parser.parse_args()
    files = sorted(given.folder.glob("*.npz"))
    held_out = sum(map(is_held_out, files))
    if held_out in (0, len(files)):
        parser.error(
            f"of the {len(files)} walls in {given.folder} {held_out} have seeds that are multiples of "
            f"{HELD_OUT_EVERY}: some are needed to check by, and others to learn from"
        )
    learn(files, given.out, given.minutes, given.rate, given.resume, given.seed, tuple(given.part))


if __name__ == "__main__":
    main()

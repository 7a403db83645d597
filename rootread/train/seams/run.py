"""Learn to see seams: ``python -m rootread.train.seams.run OUT [--minutes M] [--resume CHECKPOINT]``.

OUT receives ``checkpoint.pt``, with all that a later run needs to go on. ``--start`` begins with the exact
weights of the network that ships (``seams.pt``), or of any other.
"""

import math
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import torch
import torch.nn.functional as F  # noqa: N812
from torch import Tensor

from rootread.train.feed import Feed
from rootread.train.held_out import CHECKPOINT_SEEDS
from rootread.train.net import follow, parameter_count
from rootread.train.noise import normal, uniform
from rootread.train.options import run_options, with_options
from rootread.train.seams.crops import Crop, close_crops
from rootread.train.seams.label import BESIDE, SEAM, seam_labels
from rootread.train.seams.net import SeamNet

SEAM_WEIGHT, SOIL_WEIGHT = 1.5, 0.03
"""Pixels count 1 on and beside roots, these on seams and on bare soil, of which nobody asks."""
BINS = 1000
Turn = Callable[[Tensor], Tensor]


@dataclass(frozen=True)
class SeamSettings:
    """One run."""

    seed: int = 1
    minutes: float = 8.5
    progress_from: float = 0.0
    progress_to: float = 1.0
    """A run may go through a part of the cosine only, and a resumed one through the rest."""
    learning_rate: float = 3e-3
    weight_decay: float = 0.01
    average_keep: float = 0.998
    batch: int = 256
    side: int = 160
    """Side of a picture that is kept, px."""
    cut: int = 128
    """Side of the part of it that is learnt from."""
    pool: int = 90_000
    """Crops held at a time."""
    first_crops: int = 6_000
    """Learning begins when so many are there."""
    scene_workers: int = 15
    held_out: int = 30
    """Scenes that tell how far it has come."""
    log_seconds: float = 45.0


TINY = SeamSettings(
    minutes=0.02,
    batch=4,
    side=64,
    cut=48,
    pool=60,
    first_crops=30,
    scene_workers=1,
    held_out=1,
    log_seconds=1.0,
)
"""The same way in miniature, for trying a change on a CPU."""


class Pool:
    """The last ``size`` pictures given to it, with their labels."""

    def __init__(self, size: int, side: int, device: torch.device) -> None:
        self.rgb = torch.zeros((size, 3, side, side), dtype=torch.uint8, device=device)
        self.label = torch.zeros((size, side, side), dtype=torch.uint8, device=device)
        self.added = 0

    def add(self, rgb: Tensor, label: Tensor) -> None:
        """Store bytes and labels over the oldest ones."""
        at = (torch.arange(len(rgb), device=self.rgb.device) + self.added) % len(self.rgb)
        self.rgb[at], self.label[at] = rgb, label
        self.added += len(rgb)

    def draw(self, draw: torch.Generator, count: int) -> tuple[Tensor, Tensor]:
        """Pictures at random, 0 to 1, and their labels."""
        filled = min(self.added, len(self.rgb))
        at = torch.randint(filled, (count,), generator=draw, device=draw.device)
        return self.rgb[at].float() / 255, self.label[at]


def varied(draw: torch.Generator, rgb: Tensor, label: Tensor, cut: int) -> tuple[Tensor, Tensor]:
    """A square of each picture, turned and mirrored, in other light and colour, softer, with noise."""
    count, side = len(rgb), rgb.shape[-1]
    down, right = torch.randint(side - cut + 1, (2,), generator=draw, device=draw.device).tolist()
    square = (..., slice(down, down + cut), slice(right, right + cut))
    rgb, label = rgb[square], label[square]
    turns: tuple[Turn, ...] = (lambda t: t.flip(-1), lambda t: t.flip(-2), lambda t: t.transpose(-1, -2))
    for turn in turns:
        picked = uniform(draw, (count, 1, 1)) < 0.5
        rgb, label = torch.where(picked[..., None], turn(rgb), rgb), torch.where(picked, turn(label), label)
    each = (count, 1, 1, 1)
    gain = torch.exp(uniform(draw, each, -0.35, 0.35) + uniform(draw, (count, 3, 1, 1), -0.12, 0.12))
    rgb = gain * rgb.clamp_min(1e-4) ** torch.exp(uniform(draw, each, -0.3, 0.3))
    near = F.avg_pool2d(F.pad(rgb, (1,) * 4, mode="replicate"), 3, 1)
    soft = 1.6 * (uniform(draw, each) - 0.6).clamp_min(0)
    rgb = rgb + soft * (near - rgb)
    rgb = rgb + uniform(draw, each, -0.02, 0.03).clamp_min(0) * normal(draw, tuple(rgb.shape))
    return torch.round(rgb.clamp(0, 1) * 255) / 255, label


def loss(logit: Tensor, label: Tensor) -> Tensor:
    """Mean cross-entropy of ``(B, S, S)`` logits over the pixels that count."""
    weight = torch.where(label >= BESIDE, 1.0, SOIL_WEIGHT)
    weight = torch.where(label == SEAM, SEAM_WEIGHT, weight)
    each = F.binary_cross_entropy_with_logits(logit, (label == SEAM).float(), reduction="none")
    return (each * weight).sum() / weight.sum()


@torch.no_grad()
def figures(net: SeamNet, batches: list[tuple[Tensor, Tensor]]) -> dict[str, float]:
    """Loss, average precision and best F1 of seam pixels among those on and beside roots."""
    net.eval()
    counts = torch.zeros(2, BINS, device=batches[0][0].device)
    lost = 0.0
    for rgb, label in batches:
        logit = net(rgb.float() / 255)[:, 0].float()
        lost += float(loss(logit, label)) / len(batches)
        at = (torch.sigmoid(logit) * BINS).long().clamp(max=BINS - 1)
        for seam in (0, 1):
            counts[seam] += torch.bincount(at[(label >= BESIDE) & ((label == SEAM) == seam)], minlength=BINS)
    wrong, right = counts.flip(1).cumsum(1)
    precision, recall = right / (right + wrong).clamp_min(1), right / right[-1].clamp_min(1)
    found = torch.diff(recall, prepend=recall.new_zeros(1))
    f1 = 2 * precision * recall / (precision + recall).clamp_min(1e-6)
    return {"loss": lost, "precision": float((found * precision).sum()), "f1": float(f1.max())}


class Trainer:
    """Network, optimiser and pool of one run."""

    def __init__(self, settings: SeamSettings, device: torch.device) -> None:
        self.settings, self.device = settings, device
        torch.manual_seed(settings.seed)
        self.draw = torch.Generator(device).manual_seed(settings.seed)
        self.net = SeamNet().to(device, memory_format=torch.channels_last)
        self.average = SeamNet().to(device, memory_format=torch.channels_last)
        self.average.load_state_dict(self.net.state_dict())
        self.optimiser = torch.optim.AdamW(
            self.net.parameters(), settings.learning_rate, weight_decay=settings.weight_decay
        )
        self.crops = Pool(settings.pool, settings.side, device)
        self.steps = 0
        self.fresh = True

    def resume(self, path: Path) -> None:
        """Go on from a checkpoint, with fresh pictures."""
        kept = torch.load(path, map_location=self.device, weights_only=True)
        self.net.load_state_dict(kept["net"])
        self.average.load_state_dict(kept["average"])
        self.optimiser.load_state_dict(kept["optimiser"])
        self.steps, self.fresh = int(kept["steps"]), False
        self.draw.manual_seed(self.settings.seed + self.steps)

    def start(self, path: Path) -> None:
        """Begin with a network's exact weights."""
        exact = torch.load(path, map_location=self.device, weights_only=True)["average"]
        self.net.load_state_dict(exact)
        self.average.load_state_dict(exact)

    def save(self, path: Path) -> None:
        """Write a checkpoint, whole or not at all."""
        states = {name: getattr(self, name).state_dict() for name in ("net", "average", "optimiser")}
        part = path.with_suffix(".part")
        torch.save(states | {"steps": self.steps}, part)
        part.replace(path)

    def of_scene(self, crops: list[Crop]) -> tuple[Tensor, Tensor]:
        """Crops of a scene as bytes, and their labels."""
        rgb, root, half_px = (
            torch.stack([torch.from_numpy(crop[k]) for crop in crops]).to(self.device) for k in range(3)
        )
        return rgb.permute(0, 3, 1, 2), seam_labels(root, half_px.float())

    def step(self, progress: float) -> float:
        """One step at ``progress`` 0 to 1 along the cosine; returns the loss."""
        settings = self.settings
        warm = min(1.0, progress / 0.01) if self.fresh else 1.0
        rate = settings.learning_rate * warm * (0.01 + 0.99 * 0.5 * (1 + math.cos(math.pi * progress)))
        for group in self.optimiser.param_groups:
            group["lr"] = rate
        rgb, label = varied(self.draw, *self.crops.draw(self.draw, settings.batch), settings.cut)
        self.net.train()
        with torch.autocast(self.device.type, torch.bfloat16, enabled=self.device.type == "cuda"):
            logit = self.net(rgb.contiguous(memory_format=torch.channels_last))
        value = loss(logit[:, 0].float(), label)
        self.optimiser.zero_grad(set_to_none=True)
        value.backward()
        torch.nn.utils.clip_grad_norm_(self.net.parameters(), 1.0)
        self.optimiser.step()
        self.steps += 1
        follow(self.average, self.net, min(settings.average_keep, 1 - 1 / (self.steps + 1)))
        return value.item()


def fill(trainer: Trainer, feed: Feed) -> list[tuple[Tensor, Tensor]]:
    """Wait for the first crops; those held out, a batch a scene."""
    settings = trainer.settings
    held: dict[int, tuple[Tensor, Tensor]] = {}
    while len(held) < settings.held_out or trainer.crops.added < settings.first_crops:
        got = feed.take(1.0)
        if got and got[0] >= CHECKPOINT_SEEDS:
            held[got[0]] = trainer.of_scene(got[1])
        elif got:
            trainer.crops.add(*trainer.of_scene(got[1]))
    return [held[seed] for seed in sorted(held)]


def learn(
    settings: SeamSettings, out: Path, first_scene: int, resume: Path | None, start: Path | None
) -> None:
    """The run itself: learn for the minutes given, say how far it is and save on the way."""
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.backends.cudnn.benchmark = True
    trainer = Trainer(settings, device)
    if resume:
        trainer.resume(resume)
    elif start:
        trainer.start(start)
    print(f"{parameter_count(trainer.net)} parameters on {device}", flush=True)
    feed = Feed.start(settings.scene_workers, settings.side, first_scene, settings.held_out, close_crops)
    try:
        held_out = fill(trainer, feed)
        begun = said = time.monotonic()
        while (done := (time.monotonic() - begun) / (60 * settings.minutes)) < 1:
            while got := feed.take():
                trainer.crops.add(*trainer.of_scene(got[1]))
            share = settings.progress_from + done * (settings.progress_to - settings.progress_from)
            value = trainer.step(share)
            if time.monotonic() - said > settings.log_seconds:
                said = time.monotonic()
                _say(trainer, value, held_out)
                trainer.save(out / "checkpoint.pt")
        _say(trainer, value, held_out)
        trainer.save(out / "checkpoint.pt")
    finally:
        feed.close()


def _say(trainer: Trainer, value: float, held_out: list[tuple[Tensor, Tensor]]) -> None:
    known = ", ".join(f"{key} {figure:.4f}" for key, figure in figures(trainer.average, held_out).items())
    print(f"step {trainer.steps}, {trainer.crops.added} crops: {value:.4f}; held out: {known}", flush=True)


def main() -> None:
    """Learn from the command line."""
    parser = run_options(__doc__)
    parser.add_argument("--start", type=Path, help="exact weights to begin with")
    given = parser.parse_args()
    settings = with_options(TINY if given.tiny else SeamSettings(), given)
    given.out.mkdir(parents=True, exist_ok=True)
    learn(settings, given.out, given.first_scene, given.resume, given.start)


if __name__ == "__main__":
    main()

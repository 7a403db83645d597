"""Train the network: ``python -m rootread.train.run OUT [--minutes M] [--resume CHECKPOINT]``.

OUT receives ``checkpoint.pt`` and ``optimiser.pt`` (all that a later run needs to go on),
``log.csv`` and ``settings.json``. Runs are cut to minutes, since a rented GPU
is; what was learnt goes on in the next run.
"""

import csv
import dataclasses
import json
import math
import time
from pathlib import Path
from typing import Any

import torch
from torch import Tensor

from rootread.train.feed import Feed, to_walls
from rootread.train.held_out import CHECKPOINT_SEEDS
from rootread.train.loss import Tally, loss
from rootread.train.maker import make_walls
from rootread.train.net import RootNet, follow, parameter_count
from rootread.train.options import run_options, with_options
from rootread.train.pool import Examples, Pool, examples
from rootread.train.settings import TINY, TrainSettings

HELD_OUT_SCENES = 28
MADE_HELD_OUT_SEED = 777_000


class Trainer:
    """Networks, optimiser and pools of one run."""

    def __init__(self, settings: TrainSettings, device: torch.device) -> None:
        self.settings = settings
        self.device = device
        torch.manual_seed(settings.seed)
        self.draw = torch.Generator(device).manual_seed(settings.seed)
        self.net = RootNet(settings.widths).to(device, memory_format=torch.channels_last)
        self.average = RootNet(settings.widths).to(device, memory_format=torch.channels_last)
        self.average.load_state_dict(self.net.state_dict())
        self.optimiser = torch.optim.AdamW(
            self.net.parameters(), lr=settings.learning_rate, weight_decay=settings.weight_decay
        )
        self.made = Pool(settings.pool, settings.made_side, device)
        self.scenes = Pool(settings.pool, settings.made_side, device)
        self.calibration: list[Tensor] = []
        self.steps = 0
        self.fresh = True

    def resume(self, path: Path) -> None:
        """Go on from a checkpoint, with fresh pictures; one of no steps (``reopen``) has no optimiser."""
        kept = torch.load(path, map_location=self.device, weights_only=True)
        self.net.load_state_dict(kept["net"])
        self.average.load_state_dict(kept["average"])
        self.steps = int(kept["steps"])
        self.fresh = self.steps == 0
        if not self.fresh:
            moments = torch.load(path.with_name("optimiser.pt"), map_location=self.device, weights_only=True)
            self.optimiser.load_state_dict(moments)
        self.draw.manual_seed(self.settings.seed + self.steps)

    def save(self, path: Path) -> None:
        """Write a checkpoint and, beside it, the optimiser; each whole or not at all."""
        kept: dict[str, Any] = {"net": self.net.state_dict(), "average": self.average.state_dict()}
        kept |= {"steps": self.steps, "widths": list(self.settings.widths)}
        if self.calibration:
            kept["calibration"] = self.calibration
        for file, states in ((path, kept), (path.with_name("optimiser.pt"), self.optimiser.state_dict())):
            part = file.with_suffix(".part")
            torch.save(states, part)
            part.replace(file)

    def add_made(self) -> None:
        """Make a fresh batch of walls."""
        with torch.no_grad():
            self.made.add(make_walls(self.draw, self.settings.batch, self.settings.made_side))

    def batch(self) -> Examples:
        """Pictures to learn from: made walls and rendered scenes."""
        settings = self.settings
        share = settings.scene_share if self.scenes.added else 0.0
        rendered = round(settings.batch * share)
        parts = []
        with torch.no_grad():
            for pool, count, faults in (
                (self.made, settings.batch - rendered, 1.0),
                (self.scenes, rendered, settings.scene_faults),
            ):
                if count:
                    walls = pool.draw(self.draw, count)
                    parts.append(examples(self.draw, walls, settings.side, faults))
        names = [field.name for field in dataclasses.fields(Examples)]
        return Examples(*(torch.cat([getattr(part, name) for part in parts]) for name in names))

    def step(self, progress: float) -> Tensor:
        """One step at ``progress`` 0 to 1 of the run; returns the loss."""
        warm = min(1.0, progress / 0.02) if self.fresh else 1.0
        rate = self.settings.learning_rate * warm * (0.01 + 0.99 * 0.5 * (1 + math.cos(math.pi * progress)))
        for group in self.optimiser.param_groups:
            group["lr"] = rate
        batch = self.batch()
        with self._mixed():
            outputs = self.net.read(batch.rgb.contiguous(memory_format=torch.channels_last))
        value = loss(outputs, batch)
        self.optimiser.zero_grad(set_to_none=True)
        value.backward()
        torch.nn.utils.clip_grad_norm_(self.net.parameters(), 1.0)
        self.optimiser.step()
        self.steps += 1
        follow(self.average, self.net, min(self.settings.average_keep, 1 - 1 / (self.steps + 1)))
        return value.detach()

    def _mixed(self) -> Any:
        return torch.autocast(self.device.type, torch.bfloat16, enabled=self.device.type == "cuda")

    @torch.no_grad()
    def validate(self, held_out: dict[str, list[Examples]]) -> dict[str, float]:
        """Figures of the averaged weights on held-out pictures."""
        self.average.eval()
        figures: dict[str, float] = {}
        for name, batches in held_out.items():
            tally = Tally.empty(self.device)
            for batch in batches:
                with self._mixed():
                    outputs = self.average.read(batch.rgb.to(memory_format=torch.channels_last))
                tally.add(outputs, batch)
            self.calibration = [tally.root.cpu(), tally.other.cpu()]  # the last set, rendered scenes, stays
            figures |= {f"{name}_{key}": value for key, value in tally.figures().items()}
        return figures


def held_out_made(settings: TrainSettings, device: torch.device) -> list[Examples]:
    """Four batches of made walls from a seed of their own."""
    draw = torch.Generator(device).manual_seed(MADE_HELD_OUT_SEED)
    return [
        examples(draw, make_walls(draw, settings.batch, settings.made_side), settings.side) for _ in range(4)
    ]


def held_out_scenes(trainer: Trainer, feed: Feed, wait_seconds: float) -> list[Examples]:
    """Photographs of the held-out scenes; what training scenes arrive meanwhile go to the pool."""
    settings, until = trainer.settings, time.monotonic() + wait_seconds
    crops: list[Any] = []
    missing = min(HELD_OUT_SCENES, len(feed.workers) * HELD_OUT_SCENES)
    while missing and time.monotonic() < until:
        got = feed.take(1.0)
        if got is None:
            continue
        if got[0] >= CHECKPOINT_SEEDS:
            crops += got[1]
            missing -= 1
        else:
            trainer.scenes.add(to_walls(got[1], trainer.device))
        if trainer.device.type == "cuda" and trainer.made.added < settings.pool:
            trainer.add_made()
    draw = torch.Generator(trainer.device).manual_seed(MADE_HELD_OUT_SEED)
    return [
        examples(draw, to_walls(crops[k : k + 64], trainer.device), settings.side, 0.0)
        for k in range(0, len(crops), 64)
    ]


def main() -> None:
    """Train from the command line."""
    given = run_options(__doc__).parse_args()
    settings = with_options(TINY if given.tiny else TrainSettings(), given)
    given.out.mkdir(parents=True, exist_ok=True)
    (given.out / "settings.json").write_text(json.dumps(dataclasses.asdict(settings), indent=1))
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    feed = Feed.start(settings.scene_workers, settings.made_side, given.first_scene, HELD_OUT_SCENES)
    try:
        train(settings, device, feed, given.out, given.resume)
    finally:
        feed.close()


def train(
    settings: TrainSettings,
    device: torch.device,
    feed: Feed,
    out: Path,
    resume: Path | None,
) -> None:
    """The run itself: learn for the minutes given, validate and save on the way."""
    torch.backends.cudnn.benchmark = True
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    begun = time.monotonic()
    trainer = Trainer(settings, device)
    if resume:
        trainer.resume(resume)
    print(f"{parameter_count(trainer.net)} parameters on {device}", flush=True)
    trainer.add_made()
    held_out = {"made": held_out_made(settings, device), "scenes": held_out_scenes(trainer, feed, 90.0)}
    held_out = {name: batches for name, batches in held_out.items() if batches}
    print(f"ready after {time.monotonic() - begun:.0f} s; scenes in pool {trainer.scenes.added}", flush=True)
    if resume:
        print({"before": trainer.validate(held_out)}, flush=True)

    start = saved = time.monotonic()
    rows: list[dict[str, float]] = []
    losses: list[Any] = []
    spent = [0.0, 0.0]
    while (done := (time.monotonic() - start) / (60 * settings.minutes)) < 1:
        progress = settings.progress_from + (settings.progress_to - settings.progress_from) * done
        before = time.monotonic()
        _refill(trainer, feed)
        between = time.monotonic()
        losses.append(trainer.step(progress))
        spent = [spent[0] + between - before, spent[1] + time.monotonic() - between]
        if trainer.steps % settings.validate_every == 0:
            rows.append(_report(trainer, held_out, losses, start))
            print(f"seconds refilling {spent[0]:.0f}, learning {spent[1]:.0f}", flush=True)
            losses = []
        if time.monotonic() - saved > settings.checkpoint_seconds:
            trainer.save(out / "checkpoint.pt")
            saved = time.monotonic()
    rows.append(_report(trainer, held_out, losses, start))
    trainer.save(out / "checkpoint.pt")
    with (out / "log.csv").open("w", newline="") as file:
        writer = csv.DictWriter(file, list(rows[-1]))
        writer.writeheader()
        writer.writerows(rows)


def _refill(trainer: Trainer, feed: Feed) -> None:
    if trainer.steps % trainer.settings.made_every == 0:
        trainer.add_made()
    got = feed.take()
    if got is not None:
        trainer.scenes.add(to_walls(got[1], trainer.device))


def _report(
    trainer: Trainer, held_out: dict[str, list[Examples]], losses: list[Any], start: float
) -> dict[str, float]:
    mean = float(torch.stack(losses).mean()) if losses else float("nan")
    row = {
        "step": trainer.steps,
        "seconds": round(time.monotonic() - start, 1),
        "loss": mean,
        "scenes": trainer.scenes.added,
        "made": trainer.made.added,
    } | trainer.validate(held_out)
    print({k: round(v, 4) for k, v in row.items()}, flush=True)
    return row


if __name__ == "__main__":
    main()

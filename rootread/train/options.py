"""What is asked of a training run on the command line, for every network that learns from rendered scenes."""

import argparse
import dataclasses
from pathlib import Path
from typing import Any, TypeVar

Settings = TypeVar("Settings")


def run_options(description: str | None) -> argparse.ArgumentParser:
    """The options that all such runs have."""
    parser = argparse.ArgumentParser(description=description)
    parser.add_argument("out", type=Path)
    parser.add_argument("--minutes", type=float)
    parser.add_argument("--rate", type=float, help="peak learning rate")
    parser.add_argument("--seed", type=int)
    parser.add_argument("--span", type=float, nargs=2, help="part of the cosine to go through, as 0 0.6")
    parser.add_argument("--first-scene", type=int, default=0, help="seed; a resumed run takes new ones")
    parser.add_argument("--workers", type=int, help="processes that render scenes")
    parser.add_argument("--resume", type=Path, help="checkpoint of a run to go on from")
    parser.add_argument("--tiny", action="store_true", help="a few steps in miniature, to try the way")
    return parser


def with_options(settings: Settings, given: argparse.Namespace) -> Settings:
    """The settings of a run, changed where an option was given."""
    first, last = given.span or (None, None)
    changes = {
        "minutes": given.minutes,
        "learning_rate": given.rate,
        "seed": given.seed,
        "scene_workers": given.workers,
        "progress_from": first,
        "progress_to": last,
    }
    asked: Any = settings
    changed: Settings = dataclasses.replace(asked, **{k: v for k, v in changes.items() if v is not None})
    return changed

"""The mean of several checkpoints: ``python -m rootread.train.joins.average OUT.pt ONE.pt TWO.pt ...``.

Networks that learnt on from the same weights lie in one valley, and their mean errs less than each.
"""

import argparse
from pathlib import Path

import torch

from rootread.train.packed import unpacked


def average(checkpoints: list[Path], out: Path) -> None:
    """Write the mean of the weights of ``checkpoints``."""
    weights = [unpacked(torch.load(file, map_location="cpu", weights_only=True)) for file in checkpoints]
    mean = {
        name: torch.stack([one[name].double() for one in weights]).mean(0).to(value.dtype)
        for name, value in weights[0].items()
    }
    torch.save(mean, out)


def main() -> None:
    """Average from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("checkpoints", type=Path, nargs="+")
    given = parser.parse_args()
    average(given.checkpoints, given.out)


if __name__ == "__main__":
    main()

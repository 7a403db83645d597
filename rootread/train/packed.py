"""Weights that can be learnt on, in a quarter of the room: large tables in 8 bits, the rest in 16.

usage: python -m rootread.train.packed WEIGHTS.pt OUT.pt
"""

import argparse
from pathlib import Path

import torch
from torch import Tensor

LEAST_PACKED = 4096
"""Numbers in a table from which it is packed."""
MOST = 127
STEP = ".step"


def packed(weights: dict[str, Tensor]) -> dict[str, Tensor]:
    """Each row of a large table as whole numbers of a step, which is a 127th of its largest."""
    kept: dict[str, Tensor] = {}
    for name, values in weights.items():
        if not values.is_floating_point():
            kept[name] = values
        elif values.numel() < LEAST_PACKED or values.ndim < 2:
            kept[name] = values.half()
        else:
            rows = values.float().flatten(1)
            step = rows.abs().amax(1, keepdim=True).clamp_min(1e-12) / MOST
            kept[name] = (rows / step).round().to(torch.int8).reshape(values.shape)
            kept[name + STEP] = step
    return kept


def unpacked(kept: dict[str, Tensor]) -> dict[str, Tensor]:
    """The weights again, as floats; those that never were packed as they are."""
    weights: dict[str, Tensor] = {}
    for name, values in kept.items():
        if name.endswith(STEP):
            continue
        if name + STEP in kept:
            step = kept[name + STEP].reshape(-1, *[1] * (values.ndim - 1))
            weights[name] = values.float() * step
        else:
            weights[name] = values.float() if values.is_floating_point() else values
    return weights


def main() -> None:
    """Pack a file of weights from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("weights", type=Path)
    parser.add_argument("out", type=Path)
    given = parser.parse_args()
    torch.save(packed(torch.load(given.weights, map_location="cpu", weights_only=True)), given.out)


if __name__ == "__main__":
    main()

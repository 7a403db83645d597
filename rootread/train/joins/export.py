"""Write what ships: ``python -m rootread.train.joins.export CHECKPOINT.pt FOLDER OUT.onnx``.

FOLDER holds made walls (see ``walls``), whose strips say how large numbers grow inside the network, which
ships in 8-bit whole numbers.
"""

import argparse
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import torch

from rootread.follow.eye import FACTS
from rootread.follow.strips import ACROSS, CHANNELS, LENGTH
from rootread.train.export import write_onnx
from rootread.train.joins.net import JoinNet
from rootread.train.packed import unpacked
from rootread.train.quantise import Inputs, quantise

JOINS_A_WALL = 400
MOST_WALLS = 8


def export(checkpoint: Path, out: Path) -> None:
    """The network as ONNX, for any number of joins."""
    net = JoinNet()
    net.load_state_dict(unpacked(torch.load(checkpoint, map_location="cpu", weights_only=True)))
    net.eval()
    strips = torch.zeros(2, CHANNELS, ACROSS, LENGTH, dtype=torch.uint8)
    write_onnx(net, {"strips": strips, "facts": torch.zeros(2, FACTS)}, "cost", {0: "joins"}, out)


def examples(folder: Path) -> Iterator[Inputs]:
    """Some joins of some walls."""
    for file in sorted(folder.glob("*.npz"))[:MOST_WALLS]:
        with np.load(file) as wall:
            yield {"strips": wall["strips"][:JOINS_A_WALL], "facts": wall["facts"][:JOINS_A_WALL]}


def main() -> None:
    """Export from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("checkpoint", type=Path)
    parser.add_argument("folder", type=Path)
    parser.add_argument("out", type=Path)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        exact = Path(scratch) / "exact.onnx"
        export(given.checkpoint, exact)
        quantise(exact, given.out, examples(given.folder), last_exact=False)


if __name__ == "__main__":
    main()

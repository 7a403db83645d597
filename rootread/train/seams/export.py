"""Write what ships: ``python -m rootread.train.seams.export CHECKPOINT OUT.onnx``, in 8-bit whole numbers."""

import argparse
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn

from rootread.train.export import SIDES, bytes_in, write_onnx
from rootread.train.net import folded
from rootread.train.quantise import CALIBRATION_SEEDS, as_inputs
from rootread.train.seams.crops import close_crops
from rootread.train.seams.net import STRIDE, SeamNet

SIDE_PX = 160
CROPS = 12
"""Of each scene: they say how large numbers grow inside the network."""


class OfBytes(nn.Module):
    """The network as a function of -2 to 2."""

    def __init__(self, net: SeamNet) -> None:
        super().__init__()
        self.net = net

    def forward(self, values: Tensor) -> Tensor:
        """``(B, 3, M, N)`` to ``(B, 1, M, N)``."""
        return self.net.of_bytes(values)


def pictures() -> Iterator[NDArray[np.uint8]]:
    """Crops of the calibration scenes, ``(S, S, 3)`` sRGB, then black and white."""
    for seed in CALIBRATION_SEEDS:
        for rgb, _, _ in close_crops(seed, SIDE_PX, CROPS):
            yield rgb
    for value in (0, 255):
        yield np.full((SIDE_PX, SIDE_PX, 3), value, np.uint8)


def export(checkpoint: Path, out: Path, shown: Iterator[NDArray[np.uint8]]) -> None:
    """The averaged network of a checkpoint, in whole numbers from bytes on; pictures say how large."""
    net = SeamNet()
    net.load_state_dict(torch.load(checkpoint, map_location="cpu", weights_only=True)["average"])
    with tempfile.TemporaryDirectory() as scratch:
        exact = Path(scratch) / "exact.onnx"
        blocks = torch.rand(1, 3, 8 * STRIDE, 8 * STRIDE)
        write_onnx(OfBytes(folded(net)), {"blocks": blocks}, "answer", SIDES, exact)
        bytes_in(exact, out, as_inputs(rgb[None] for rgb in shown))


def main() -> None:
    """Export from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("checkpoint", type=Path)
    parser.add_argument("out", type=Path)
    given = parser.parse_args()
    export(given.checkpoint, given.out, pictures())


if __name__ == "__main__":
    main()

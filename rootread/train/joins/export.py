"""Write what ships: ``python -m rootread.train.joins.export CHECKPOINT.pt OUT.onnx``."""

import argparse
import warnings
from pathlib import Path

import torch

from rootread.follow.eye import FACTS
from rootread.follow.strips import ACROSS, CHANNELS, LENGTH
from rootread.train.joins.net import JoinNet

OPSET = 17


def export(checkpoint: Path, out: Path) -> None:
    """The network as ONNX, for any number of joins."""
    net = JoinNet()
    net.load_state_dict(torch.load(checkpoint, map_location="cpu", weights_only=True))
    net.eval()
    strips = torch.zeros(2, CHANNELS, ACROSS, LENGTH, dtype=torch.uint8)
    names = {"strips": {0: "joins"}, "facts": {0: "joins"}, "cost": {0: "joins"}}
    with warnings.catch_warnings():
        # The plain exporter writes a smaller, simpler graph; PyTorch says it will go one day.
        warnings.simplefilter("ignore")
        torch.onnx.export(
            net,
            (strips, torch.zeros(2, FACTS)),
            str(out),
            input_names=["strips", "facts"],
            output_names=["cost"],
            dynamic_axes=names,
            opset_version=OPSET,
            dynamo=False,
        )


def main() -> None:
    """Export from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("checkpoint", type=Path)
    parser.add_argument("out", type=Path)
    given = parser.parse_args()
    export(given.checkpoint, given.out)


if __name__ == "__main__":
    main()

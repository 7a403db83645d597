"""Write what ships: ``python -m rootread.train.encounters.export CHECKPOINT.pt FOLDER OUT.onnx``.

FOLDER holds made walls (see ``walls``), whose pictures say how large numbers grow inside the network, which
ships in 8-bit whole numbers.
"""

import argparse
import tempfile
import warnings
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import torch

from rootread.follow.encounter_pictures import ACROSS, CHANNELS, LENGTH
from rootread.follow.limbs import FACTS
from rootread.train.encounters.net import EncounterNet
from rootread.train.quantise import Inputs, quantise

OPSET = 17
ENCOUNTERS_A_WALL = 60
MOST_WALLS = 30


def export(checkpoint: Path, out: Path) -> None:
    """The network as ONNX, for any number of encounters."""
    net = EncounterNet()
    net.load_state_dict(torch.load(checkpoint, map_location="cpu", weights_only=True))
    net.eval()
    pictures = torch.zeros(2, CHANNELS, ACROSS, LENGTH, dtype=torch.uint8)
    names = {"pictures": {0: "encounters"}, "facts": {0: "encounters"}, "odds": {0: "encounters"}}
    with warnings.catch_warnings():
        # The plain exporter writes a smaller, simpler graph; PyTorch says it will go one day.
        warnings.simplefilter("ignore")
        torch.onnx.export(
            net,
            (pictures, torch.zeros(2, FACTS)),
            str(out),
            input_names=["pictures", "facts"],
            output_names=["odds"],
            dynamic_axes=names,
            opset_version=OPSET,
            dynamo=False,
        )


def examples(folder: Path) -> Iterator[Inputs]:
    """Some encounters of some walls."""
    for file in sorted(folder.glob("*.npz"))[:MOST_WALLS]:
        with np.load(file) as wall:
            yield {
                "pictures": wall["pictures"][:ENCOUNTERS_A_WALL],
                "facts": wall["facts"][:ENCOUNTERS_A_WALL],
            }


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

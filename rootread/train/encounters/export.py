"""Write what ships: ``python -m rootread.train.encounters.export FOLDER OUT.onnx NET.pt [NET.pt ...]``.

FOLDER holds made walls (see ``walls``) that no network has learnt from: they say how sure the networks may
be, and how large numbers grow inside them, which ship in 8-bit whole numbers.
"""

import argparse
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import torch

from rootread.follow.encounter_facts import FACTS
from rootread.follow.encounter_pictures import ACROSS, CHANNELS, LENGTH
from rootread.train.encounters.examples import Examples
from rootread.train.encounters.panel import Panel
from rootread.train.export import write_onnx
from rootread.train.quantise import Inputs, halve, quantise

ENCOUNTERS_A_WALL = 60
MOST_WALLS = 30


def export(panel: Panel, out: Path) -> None:
    """Networks as ONNX, for any number of encounters."""
    pictures = torch.zeros(2, CHANNELS, ACROSS, LENGTH, dtype=torch.uint8)
    write_onnx(panel, {"pictures": pictures, "facts": torch.zeros(2, FACTS)}, "odds", {0: "encounters"}, out)


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
    parser.add_argument("folder", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("nets", type=Path, nargs="+")
    given = parser.parse_args()
    panel = Panel.of(given.nets)
    panel.fit(Examples.read(sorted(given.folder.glob("*.npz")), torch.device("cpu")))
    print(f"scales {panel.scale.tolist()}, shifts {panel.shift.tolist()}")
    with tempfile.TemporaryDirectory() as scratch:
        exact = Path(scratch) / "exact.onnx"
        export(panel, exact)
        quantise(exact, given.out, examples(given.folder), last_exact=False)
    halve(given.out)


if __name__ == "__main__":
    main()

"""From a checkpoint to the file that ships: ``python -m rootread.train.export CHECKPOINT OUT.onnx``.

Batch norms are folded into their convolutions, and the root logit is
calibrated: straight-line (Platt) scaling fitted on the held-out scenes, by
which a stated 0.7 means that 7 in 10 such pixels are root. Last, the network is
put in 8-bit whole numbers from end to end.
"""

import argparse
import tempfile
import warnings
from collections.abc import Iterable
from pathlib import Path

import numpy as np
import torch
from numpy.typing import ArrayLike, NDArray
from torch import Tensor, nn

from rootread.find.session import blocks_of
from rootread.train.ends import InBlocks, give_exact_sums, take_bytes
from rootread.train.net import STRIDE, RootNet, folded
from rootread.train.quantise import Inputs, as_inputs, calibration_pictures, quantise

OPSET = 17
SIDES = {2: "rows", 3: "columns"}
NEWTON_STEPS = 30


def fit_calibration(root: ArrayLike, other: ArrayLike) -> tuple[float, float]:
    """Slope and offset that calibrate a logit, from counts of root and other pixels by probability.

    ``(BINS,)`` each, equal bins from 0 to 1. Logistic regression of truth on the
    bin's logit by Newton's method (Platt 1999, from memory); the two end bins,
    whose logits are not known, are left out.
    """
    hits, misses = (np.asarray(v, dtype=float)[1:-1] for v in (root, other))
    bins = len(hits) + 2
    middle = (np.arange(1, bins - 1) + 0.5) / bins
    design = np.column_stack([np.log(middle / (1 - middle)), np.ones(bins - 2)])
    beta = np.array([1.0, 0.0])
    total = hits + misses
    for _ in range(NEWTON_STEPS):
        expected = 1 / (1 + np.exp(-design @ beta))
        gradient = design.T @ (hits - total * expected)
        hessian = (design * (total * expected * (1 - expected))[:, None]).T @ design
        beta = beta + np.linalg.solve(hessian + 1e-9 * np.eye(2), gradient)
    return float(beta[0]), float(beta[1])


def calibrated(net: RootNet, slope: float, offset: float) -> RootNet:
    """The network with ``slope * logit + offset`` as its root logit."""
    with torch.no_grad():
        net.head.weight[:4] *= slope
        net.head.bias[:4] = net.head.bias[:4] * slope + offset
    return net


def load(checkpoint: Path) -> RootNet:
    """The averaged network of a checkpoint, folded and calibrated."""
    kept = torch.load(checkpoint, map_location="cpu", weights_only=True)
    widths = tuple(int(w) for w in kept["widths"])
    net = RootNet(widths)
    net.load_state_dict(kept["average"])
    net = folded(net)
    if "calibration" in kept:
        root, other = (counts.numpy() for counts in kept["calibration"])
        net = calibrated(net, *fit_calibration(root, other))
    return net


def export(net: RootNet, path: Path) -> None:
    """Write the exact network as ONNX, for blocks of 2 x 2 pixels as ``InBlocks`` takes them.

    Sides of the picture may be any multiples of ``STRIDE``.
    """
    blocks = torch.rand(1, 12, 2 * STRIDE, 2 * STRIDE)
    write_onnx(InBlocks(net), {"blocks": blocks}, "answer", SIDES, path)


def write_onnx(
    net: nn.Module, inputs: dict[str, Tensor], answer: str, any_size: dict[int, str], path: Path
) -> None:
    """Write a network of named ``inputs`` to one ``answer`` as ONNX; axes of ``any_size`` may have any."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with warnings.catch_warnings():
        # The plain exporter writes a smaller, simpler graph; PyTorch says it will go one day.
        warnings.simplefilter("ignore")
        torch.onnx.export(
            net,
            tuple(inputs.values()),
            str(path),
            input_names=list(inputs),
            output_names=[answer],
            dynamic_axes={name: any_size for name in (*inputs, answer)},
            opset_version=OPSET,
            dynamo=False,
        )


def in_whole_numbers(exact: Path, out: Path, pictures: Iterable[NDArray[np.uint8]]) -> None:
    """From what ``export`` wrote to bytes in, whole numbers throughout."""
    bytes_in(exact, out, as_inputs(blocks_of(rgb) for rgb in pictures))


def bytes_in(exact: Path, out: Path, inputs: Iterable[Inputs]) -> None:
    """The same for any number of bytes at each place, from inputs as ``as_inputs`` makes them."""
    import onnx

    quantise(exact, out, inputs, last_exact=True)
    model = onnx.load(out)
    values = onnx.load(exact).graph.input[0].type.tensor_type.shape.dim[1].dim_value
    take_bytes(model, values)
    give_exact_sums(model)
    onnx.checker.check_model(model)
    onnx.save(model, out)


def main() -> None:
    """Export from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("checkpoint", type=Path)
    parser.add_argument("out", type=Path)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        exact = Path(scratch) / "exact.onnx"
        export(load(given.checkpoint), exact)
        in_whole_numbers(exact, given.out, calibration_pictures())


if __name__ == "__main__":
    main()

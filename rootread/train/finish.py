"""The last steps from an exported 8-bit network to the one that ships.

usage: python -m rootread.train.finish EXPORTED.onnx OUT.onnx

The features that strokes and the measure of unfamiliarity use become outputs
(they cost nothing: the network computes them anyway), and the root logit is
calibrated on pieces of whole scenes with soils that were never learnt from, all
pixels counted: edges, hairs and litter too.
"""

import argparse
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rootread.find.session import Session
from rootread.find.tiles import run_in_tiles
from rootread.scene import draw_scene, render_crop
from rootread.train.ends import rescale_logit
from rootread.train.export import fit_calibration
from rootread.train.feed import soils_of
from rootread.train.held_out import CHECKPOINT_SEEDS

FEATURES = {
    "/leave.0/body/body.0/body.0.2/Relu_output_0_QuantizeLinear_Output": "fine",
    "/leave.1/body/body.0/body.0.2/Relu_output_0_QuantizeLinear_Output": "coarse",
    "/enter.4/body/body.0/body.0.2/Relu_output_0_QuantizeLinear_Output": "deep",
}
"""Names the exporter gives to the last features at 1/2 and 1/4 and to the deepest, at 1/32."""
BINS = 200
PIECES = range(CHECKPOINT_SEEDS + 100, CHECKPOINT_SEEDS + 160)
PIECE_PX = 704
PX_PER_IN = (60.0, 80.0)
"""Where the flat walls of photographs lie."""


def name_features(model: Any) -> None:
    """Make the features outputs of an ONNX model, under names of ours."""
    from onnx import TensorProto, helper

    for node in model.graph.node:
        for names in (node.input, node.output):
            for k, name in enumerate(names):
                names[k] = FEATURES.get(name, name)
    known = {output.name for output in model.graph.output}
    for name in FEATURES.values():
        if name not in known:
            model.graph.output.append(helper.make_tensor_value_info(name, TensorProto.UINT8, [None] * 4))


def held_out_counts(session: Session) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Root and other pixels of held-out scenes by stated probability, ``(BINS,)`` each."""
    root, other = np.zeros(BINS), np.zeros(BINS)
    for seed in PIECES:
        rng = np.random.default_rng(seed)
        scene = draw_scene(rng, soils=soils_of(seed))
        # In the rooted middle of the wall, away from its frame.
        centre = (float(rng.uniform(6, scene.width_in - 6)), float(rng.uniform(5, 14)))
        rgb, share, _, _ = render_crop(scene, PIECE_PX, float(rng.uniform(*PX_PER_IN)), rng, centre)
        stated = 1 / (1 + np.exp(-run_in_tiles(rgb, session).logit.astype(float)))
        bin_of = np.minimum((stated * BINS).astype(int), BINS - 1)
        root += np.bincount(bin_of[share > 0.5], minlength=BINS)
        other += np.bincount(bin_of[share <= 0.5], minlength=BINS)
    return root, other


def main() -> None:
    """Read a network, name its features, calibrate it, write it."""
    import onnx

    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("exported", type=Path)
    parser.add_argument("out", type=Path)
    given = parser.parse_args()
    model = onnx.load(given.exported)
    name_features(model)
    slope, offset = fit_calibration(*held_out_counts(Session(model.SerializeToString())))
    rescale_logit(model, slope, offset)
    onnx.checker.check_model(model)
    onnx.save(model, given.out)
    print(f"logit times {slope:.3f} plus {offset:.3f}")


if __name__ == "__main__":
    main()

"""The network in whole numbers: a quarter of the file and about 2.4 times the speed on a CPU.

Weights and activations become 8-bit; a convolution that makes the answer
stays as it is (see ``ends`` for what becomes of it). Ranges of activations
come from pictures of rendered scenes. Weights use 7 of their 8 bits, so that
processors without 8-bit dot products, which add in 16 bits, do not overflow.
"""

import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from onnxruntime.quantization import (
    CalibrationDataReader,
    QuantFormat,
    QuantType,
    quantize_static,
)
from onnxruntime.quantization.shape_inference import quant_pre_process

from rootread.train.feed import scene_crops

Inputs = dict[str, NDArray[np.generic]]

CALIBRATION_SEEDS = range(500_000, 500_012)
"""Scenes with soils of the training set; none of a held-out seed."""
SIDE_PX = 352
LEAST_HALVED = 4096
"""Numbers in a table from which it is kept in 16 bits."""
BYTE_STEP, BYTE_OFFSET = 4 / 255, 128
"""What a byte of the picture stands for: 0 to 255 are -2 to 2, half a grey level aside."""


def calibration_pictures() -> Iterator[NDArray[np.uint8]]:
    """A few crops of each calibration scene, ``(S, S, 3)`` sRGB."""
    for seed in CALIBRATION_SEEDS:
        for crop in scene_crops(seed, SIDE_PX, 4):
            yield crop[0]


def as_inputs(pictures: Iterable[NDArray[np.uint8]]) -> Iterator[Inputs]:
    """Bytes ``(1, rows, columns, values)`` as an exact network takes them."""
    for values in pictures:
        blocks = values.transpose(0, 3, 1, 2).astype(np.float32)
        yield {"blocks": (blocks - BYTE_OFFSET) * np.float32(BYTE_STEP)}


class _Examples(CalibrationDataReader):
    def __init__(self, examples: Iterable[Inputs]) -> None:
        self._examples = iter(examples)

    def get_next(self) -> Inputs | None:
        return next(self._examples, None)


def halve(path: Path) -> None:
    """Keep what large tables of exact numbers a network has in 16 bits: half the file, the same speed."""
    import onnx
    from onnx import numpy_helper

    model = onnx.load(path)
    for table in list(model.graph.initializer):
        if table.data_type != onnx.TensorProto.FLOAT or np.prod(table.dims) < LEAST_HALVED:
            continue
        name = f"{table.name}_half"
        model.graph.initializer.append(
            numpy_helper.from_array(numpy_helper.to_array(table).astype(np.float16), name)
        )
        model.graph.initializer.remove(table)
        # Turned back once, when the network is opened.
        cast = onnx.helper.make_node("Cast", [name], [table.name], to=onnx.TensorProto.FLOAT)
        model.graph.node.insert(0, cast)
    onnx.save(model, path)


def quantise(path: Path, out: Path, examples: Iterable[Inputs], last_exact: bool) -> None:
    """Write an exported network ``path`` in 8-bit whole numbers to ``out``.

    ``last_exact`` leaves the last convolution as it is, where that makes the answer.
    """
    import onnx

    with tempfile.TemporaryDirectory() as scratch:
        prepared = Path(scratch) / "prepared.onnx"
        quant_pre_process(str(path), str(prepared), skip_symbolic_shape=True)
        nodes = onnx.load(prepared).graph.node
        convolutions = [node.name for node in nodes if node.op_type == "Conv"]
        quantize_static(
            str(prepared),
            str(out),
            _Examples(examples),
            quant_format=QuantFormat.QDQ,
            per_channel=True,
            reduce_range=True,
            activation_type=QuantType.QUInt8,
            weight_type=QuantType.QInt8,
            # A ReLU that is put in whole numbers vanishes: they begin at its nought.
            op_types_to_quantize=["Conv", "Relu", "Add", "Resize"],
            nodes_to_exclude=convolutions[-1:] if last_exact else [],
        )

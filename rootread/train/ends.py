"""Both ends of the network in whole numbers: bytes go in, and nothing is rounded on the way out.

What quantisation leaves in floating point, the picture and the last convolution,
would take a third of the time and most of the memory. Pictures are bytes
already. The last convolution is 1 x 1, a product of matrices: its sums of whole
numbers are exact, and are scaled to the answer's units as they are stored.
"""

from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn

from rootread.find.session import ANSWER, INPUT
from rootread.train.net import RootNet
from rootread.train.quantise import BYTE_OFFSET, BYTE_STEP

LAST = "/head/Conv"
"""Name that the exporter gives to the last convolution."""
WEIGHT_STEPS = 63
"""7 of 8 bits, as in every other layer."""
MICROSOFT = "com.microsoft"
"""The set of operations beyond the standard's that onnxruntime brings."""


class InBlocks(nn.Module):
    """A folded network that takes the 12 values of each block of 2 x 2 pixels in place of a picture.

    A convolution of 6 x 6 with stride 2 over 3 colours is one of 3 x 3 over
    those 12, which is read from memory in half the time.
    """

    def __init__(self, net: RootNet) -> None:
        super().__init__()
        self.net = net
        old: Any = net.stem[0]
        count, colours, side, _ = old.weight.shape
        self.first = nn.Conv2d(4 * colours, count, side // 2, padding=1)
        # (colour, row, row in block, column, column in block) to (row in block, column in block, colour, ...)
        apart = old.weight.detach().reshape(count, colours, side // 2, 2, side // 2, 2)
        self.first.weight = nn.Parameter(
            apart.permute(0, 3, 5, 1, 2, 4).reshape(count, -1, side // 2, side // 2)
        )
        self.first.bias = old.bias

    def forward(self, blocks: Tensor) -> Tensor:
        """``(B, 12, M/2, N/2)`` of -2 to 2 to ``(B, 7, M/2, N/2)``, see ``RootNet.after_stem``."""
        return self.net.after_stem(torch.relu(self.first(blocks)))


def take_bytes(model: Any, values: int) -> None:
    """Let a quantised network take bytes, ``values`` of them at each place, in place.

    ``(1, M/2, N/2, 12)`` are the blocks of ``InBlocks``, ``(1, M, N, 3)`` a picture.

    Raises
    ------
    ValueError : its calibration pictures did not reach from black to white.
    """
    from onnx import TensorProto, helper

    graph = model.graph
    name = graph.input[0].name
    first = next(node for node in graph.node if node.op_type == "QuantizeLinear" and node.input[0] == name)
    step, offset = (_values(model, given) for given in first.input[1:])
    if abs(float(step) - BYTE_STEP) > 1e-6 or int(offset) != BYTE_OFFSET:
        raise ValueError(f"no picture was black and white: bytes stand for {float(step)} (x - {int(offset)})")
    turned = helper.make_node("Transpose", [INPUT], [first.output[0]], perm=[0, 3, 1, 2], name="/picture")
    graph.node.insert(list(graph.node).index(first), turned)
    graph.node.remove(first)
    del graph.input[:]
    shape = [1, "rows", "columns", values]
    graph.input.append(helper.make_tensor_value_info(INPUT, TensorProto.UINT8, shape))


def give_exact_sums(model: Any) -> None:
    """Put the last convolution in whole numbers whose sums are exact, ``(1, rows, columns, A)``, in place."""
    from onnx import TensorProto, helper, numpy_helper

    graph = model.graph
    last = next(node for node in graph.node if node.name == LAST)
    before = next(node for node in graph.node if last.input[0] in node.output)
    features, step, offset = before.input  # of the node that made floating point of bytes
    weight = _values(model, last.input[1])[:, :, 0, 0].T.astype(float)
    weight_step = np.abs(weight).max(axis=0) / WEIGHT_STEPS
    kept = {
        "head.whole": np.round(weight / weight_step).astype(np.int8),
        "head.step": weight_step.astype(np.float32),
        "head.offset": np.zeros(len(weight_step), np.int8),
        "head.bias": _values(model, last.input[2]).astype(np.float32),
    }
    for tensor in [tensor for tensor in graph.initializer if tensor.name in (*kept, *last.input[1:])]:
        graph.initializer.remove(tensor)
    graph.initializer.extend(numpy_helper.from_array(values, name) for name, values in kept.items())
    graph.node.remove(last)
    if not any(before.output[0] in node.input for node in graph.node):
        graph.node.remove(before)
    inputs = ["features", "head.whole", step, "head.step", offset, "head.offset", "head.bias"]
    graph.node.extend(
        [
            helper.make_node("Transpose", [features], ["features"], perm=[0, 2, 3, 1], name="/features"),
            helper.make_node("MatMulIntegerToFloat", inputs, [ANSWER], name="/answer", domain=MICROSOFT),
        ]
    )
    model.opset_import.append(helper.make_opsetid(MICROSOFT, 1))
    del graph.output[:]
    shape = [1, None, None, len(weight_step)]
    graph.output.append(helper.make_tensor_value_info(ANSWER, TensorProto.FLOAT, shape))
    del graph.value_info[:]


def rescale_logit(model: Any, slope: float, offset: float) -> None:
    """``slope * logit + offset`` becomes a model's root logit, in place: the first four of its answers."""
    from onnx import numpy_helper

    for tensor in model.graph.initializer:
        if tensor.name in ("head.step", "head.bias"):
            values = numpy_helper.to_array(tensor).copy()
            values[:4] *= slope
            if tensor.name == "head.bias":
                values[:4] += offset
            tensor.CopyFrom(numpy_helper.from_array(values, tensor.name))


def _values(model: Any, name: str) -> NDArray[Any]:
    from onnx import numpy_helper

    return numpy_helper.to_array(next(t for t in model.graph.initializer if t.name == name))

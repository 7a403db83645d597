"""From the file that ships back to weights that can be learnt on.

usage: python -m rootread.train.reopen ROOTS.onnx CHECKPOINT.pt

What ships has its batch norms folded in and its weights in steps of a 63rd of the largest, which is near
enough to go on from. Each batch norm is put back so that it changes nothing: its mean and spread are those of
what the convolution before it says of rendered scenes.
"""

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn

from rootread.train.net import WIDTHS, Convolution, RootNet
from rootread.train.quantise import calibration_pictures

PICTURES_A_TIME = 8


def shipped_weights(path: Path) -> dict[str, NDArray[np.float32]]:
    """Weights and biases of a shipped network by the names that they have in ``RootNet`` folded."""
    import onnx
    from onnx import numpy_helper

    model = onnx.load(path)
    kept = {tensor.name: numpy_helper.to_array(tensor) for tensor in model.graph.initializer}
    weights = {}
    for node in model.graph.node:
        if node.op_type == "DequantizeLinear" and node.input[0] in kept:
            whole, step = (kept[given] for given in node.input[:2])
            name = node.input[0].removesuffix("_quantized").removeprefix("net.")
            weights[name] = (whole * step.reshape(-1, *[1] * (whole.ndim - 1))).astype(np.float32)
    weights["stem.0.weight"] = _of_pictures(weights.pop("first.weight"))
    weights["head.weight"] = (kept["head.whole"] * kept["head.step"]).T[:, :, None, None].astype(np.float32)
    weights["head.bias"] = kept["head.bias"]
    return weights


def _of_pictures(blocks: NDArray[np.float32]) -> NDArray[np.float32]:
    """The first convolution's weights over a picture, from those over its blocks (``ends.InBlocks``)."""
    count, values, side, _ = blocks.shape
    apart = blocks.reshape(count, 2, 2, values // 4, side, side)
    return apart.transpose(0, 3, 4, 1, 5, 2).reshape(count, values // 4, 2 * side, 2 * side)


def reopened(weights: dict[str, NDArray[np.float32]], pictures: list[NDArray[np.uint8]]) -> RootNet:
    """The network with these weights, its batch norms those of the ``(S, S, 3)`` sRGB pictures."""
    net = RootNet().eval()
    blocks = {name: part for name, part in net.named_modules() if isinstance(part, Convolution)}
    state = net.state_dict()
    for name, values in weights.items():
        owner, _, what = name.rpartition(".")
        block = owner.removesuffix(".0")
        if what == "bias" and block in blocks:
            state[f"{block}.1.bias"] = torch.tensor(values)
        else:
            state[name] = torch.tensor(values)
    for name, block in blocks.items():
        norm: Any = block[1]
        state[f"{name}.1.running_var"] = torch.full_like(norm.running_var, 1 - norm.eps)
    net.load_state_dict(state)
    _measure_norms(net, list(blocks.values()), pictures)
    return net


@torch.no_grad()
def _measure_norms(net: RootNet, blocks: list[Convolution], pictures: list[NDArray[np.uint8]]) -> None:
    """Give batch norms that change nothing the mean and variance of what they see, without a change."""
    sums: dict[nn.Module, list[Tensor]] = {block: [] for block in blocks}

    def keep(block: nn.Module) -> Callable[[nn.Module, Any, Tensor], None]:
        def hook(_: nn.Module, __: Any, said: Tensor) -> None:
            sums[block].append(torch.stack([said.mean((0, 2, 3)), said.square().mean((0, 2, 3))]))

        return hook

    hooks = [block[0].register_forward_hook(keep(block)) for block in blocks]
    for k in range(0, len(pictures), PICTURES_A_TIME):
        rgb = torch.from_numpy(np.stack(pictures[k : k + PICTURES_A_TIME])).permute(0, 3, 1, 2).float() / 255
        net(rgb)
    for hook in hooks:
        hook.remove()
    for block in blocks:
        norm: Any = block[1]
        mean, square = torch.stack(sums[block]).mean(0)
        variance = (square - mean.square()).clamp_min(1e-6)
        norm.running_mean.copy_(mean)
        norm.running_var.copy_(variance)
        norm.weight.copy_((variance + norm.eps).sqrt())
        norm.bias.add_(mean)


def main() -> None:
    """Reopen from the command line."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("shipped", type=Path)
    parser.add_argument("checkpoint", type=Path)
    given = parser.parse_args()
    net = reopened(shipped_weights(given.shipped), list(calibration_pictures()))
    weights = net.state_dict()
    torch.save({"net": weights, "average": weights, "steps": 0, "widths": list(WIDTHS)}, given.checkpoint)


if __name__ == "__main__":
    main()

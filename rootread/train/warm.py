"""Go on learning from weights that were exported: their batch norms, folded away, are put back.

An exported network (``rootread.train.export``, before it is put in whole numbers) has
each batch norm folded into its convolution. A norm that divides by the spread of
the convolution's output and multiplies by it again changes nothing, but lets
learning go on as from a checkpoint.
"""

from pathlib import Path
from typing import Any

import torch
from torch import Tensor, nn

from rootread.train.net import Convolution, RootNet


def exported_weights(path: Path) -> dict[str, Tensor]:
    """Weights of an exported exact network by their names in ``RootNet``."""
    import onnx
    from onnx import numpy_helper

    tensors = onnx.load(path).graph.initializer
    return {tensor.name: torch.from_numpy(numpy_helper.to_array(tensor).copy()) for tensor in tensors}


@torch.no_grad()
def unfold(net: RootNet, weights: dict[str, Tensor], rgb: Tensor) -> RootNet:
    """Give ``net`` exported weights, with norms that fit pictures ``rgb`` ``(B, 3, M, N)``.

    In ``eval`` mode the network says of every picture what the exported one says.
    """

    def fit_norm(bias: Tensor) -> Any:
        def fit(convolution: nn.Module, inputs: Any, output: Tensor) -> None:
            norm = norm_of[convolution]
            values = output.float()
            mean, spread = values.mean((0, 2, 3)), values.var((0, 2, 3))
            norm.running_mean.copy_(mean)
            norm.running_var.copy_(spread)
            norm.weight.copy_((spread + norm.eps).sqrt())
            norm.bias.copy_(mean + bias.to(mean.device))

        return fit

    net.eval()
    norm_of: dict[nn.Module, Any] = {}
    hooks = []
    for name, module in net.named_modules():
        if isinstance(module, Convolution):
            module[0].weight.copy_(weights[f"{name}.0.weight"])
            norm_of[module[0]] = module[1]
            # The hook comes before the norm, so that what follows already sees the right values.
            hooks.append(module[0].register_forward_hook(fit_norm(weights[f"{name}.0.bias"])))
        elif isinstance(module, nn.Conv2d) and f"{name}.weight" in weights and module.bias is not None:
            module.weight.copy_(weights[f"{name}.weight"])
            module.bias.copy_(weights[f"{name}.bias"])
    net(rgb)
    for hook in hooks:
        hook.remove()
    return net

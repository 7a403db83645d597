"""Learn the last layers anew: ``python -m rootread.train.joins.tune FOLDER OUT.onnx [--minutes M]``.

What the convolutions of the shipped network see in a strip stays; how that and the facts make a cost is
learnt from made walls (see ``walls``), from where it was. Minutes on a CPU are enough for it, so that the
costs can be kept in step with a graph that changes. Facts that the shipped network does not know begin at
no influence.
"""

import argparse
import dataclasses
import math
import time
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn

from rootread.follow.eye import BATCH, FACTS, WEIGHTS
from rootread.threads import open_network
from rootread.train.joins.net import HIDDEN, widened
from rootread.train.joins.run import Examples, end_loss, figures
from rootread.train.net import follow

SEEN = "/Flatten_output_0"
"""Name that the exporter gives to what the convolutions say of a strip."""
LAYERS = (0, 3, 5)
"""Places of the linear layers in ``mix``."""
HELD_OUT_SHARE = 1 / 8
ENDS_A_STEP = 768
RATE = 3e-4
WEIGHT_DECAY = 0.05
DROPPED = 0.3
WARM_STEPS = 50
AVERAGE_KEEP = 0.995
LOOK_STEPS = 400


class LastLayers(nn.Module):
    """What becomes of a strip's features and the facts, as ``JoinNet`` has it."""

    def __init__(self, known: dict[str, NDArray[np.float32]], facts: Tensor) -> None:
        super().__init__()
        weights = widened({name: torch.from_numpy(value) for name, value in known.items()}, facts)
        self.mix = nn.Sequential(
            nn.Linear(weights["mix.0.weight"].shape[1], 2 * HIDDEN),
            nn.ReLU(),
            nn.Dropout(DROPPED),
            nn.Linear(2 * HIDDEN, HIDDEN),
            nn.ReLU(),
            nn.Linear(HIDDEN, 1),
        )
        self.scale = nn.Parameter(weights["scale"])
        self.mean, self.spread = weights["mean"], weights["spread"]
        with torch.no_grad():
            for place in LAYERS:
                layer: Any = self.mix[place]
                layer.weight.copy_(weights[f"mix.{place}.weight"])
                layer.bias.copy_(weights[f"mix.{place}.bias"])

    def forward(self, seen: Tensor, facts: Tensor) -> Tensor:
        """``(T, 768)`` features and ``(T, 31)`` facts to ``(T,)`` costs."""
        known = ((facts - self.mean) / self.spread).clamp(-4, 4)
        cost: Tensor = self.scale * facts[:, 0] - self.mix(torch.cat([seen.float(), known], 1))[:, 0]
        return cost


def numbers(model: Any) -> dict[str, NDArray[np.float32]]:
    """The numbers of a network's last layers by name."""
    from onnx import numpy_helper

    return {
        tensor.name: numpy_helper.to_array(tensor).copy()
        for tensor in model.graph.initializer
        if tensor.name in ("mean", "spread", "scale") or tensor.name.startswith("mix.")
    }


def with_numbers(model: Any, net: LastLayers) -> None:
    """Put learnt last layers into a network, in place."""
    from onnx import numpy_helper

    learnt = dict(net.mix.named_parameters(prefix="mix"))
    learnt |= {"mean": net.mean, "spread": net.spread, "scale": net.scale}
    for tensor in model.graph.initializer:
        if tensor.name in learnt:
            values = learnt[tensor.name].detach().numpy().astype(np.float32)
            tensor.CopyFrom(numpy_helper.from_array(values, tensor.name))
    for given in model.graph.input:
        if given.name == "facts":
            given.type.tensor_type.shape.dim[1].dim_value = FACTS
    del model.graph.value_info[:]


def seen_by(model: Any, strips: Tensor) -> Tensor:
    """``(T, 768)`` what the convolutions of a network say of ``(T, 5, 24, 128)`` strips."""
    import onnx

    shows = onnx.ModelProto()
    shows.CopyFrom(model)
    shows.graph.output.append(onnx.helper.make_tensor_value_info(SEEN, onnx.TensorProto.FLOAT, None))
    session = open_network(shows.SerializeToString())
    known = len(numbers(model)["mean"])
    said = [
        session.run([SEEN], {"strips": part, "facts": np.zeros((len(part), known), np.float32)})[0]
        for part in np.array_split(strips.numpy(), max(len(strips) // BATCH, 1))
    ]
    return torch.from_numpy(np.concatenate(said).astype(np.float16))


def tune(walls: list[Path], out: Path, minutes: float) -> None:
    """Learn for some minutes; what does best on an eighth of the walls, kept from learning, is written."""
    import onnx

    model = onnx.load_from_string(files("rootread.follow").joinpath(WEIGHTS).read_bytes())
    torch.manual_seed(0)
    walls = [walls[k] for k in np.random.default_rng(0).permutation(len(walls))]
    held_out = max(round(HELD_OUT_SHARE * len(walls)), 1)
    check, learnt = (_of_features(part, model) for part in (walls[:held_out], walls[held_out:]))
    net, average = (LastLayers(numbers(model), learnt.facts) for _ in range(2))
    optimiser = torch.optim.AdamW(net.parameters(), RATE, weight_decay=WEIGHT_DECAY)
    least, best, step = np.inf, average.state_dict(), 0
    print(f"{len(walls)} walls, {len(learnt.facts)} joins; before: {figures(average, check)}", flush=True)
    begun = time.monotonic()
    while (done := (time.monotonic() - begun) / (60 * minutes)) < 1:
        for group in optimiser.param_groups:
            group["lr"] = RATE * min(1.0, step / WARM_STEPS) * (0.02 + 0.49 * (1 + math.cos(math.pi * done)))
        chosen = learnt.ends[torch.randint(len(learnt.ends), (ENDS_A_STEP,))]
        join, place = learnt.at(chosen)
        net.train()
        cost = net(learnt.strips[join], learnt.facts[join])
        loss = end_loss(cost, learnt.right[join], place, learnt.apart[chosen]).mean()
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        optimiser.step()
        step += 1
        follow(average, net, min(AVERAGE_KEEP, 1 - 1 / (step + 1)))
        if step % LOOK_STEPS == 0:
            found = figures(average, check)
            print(f"step {step}: held out {found}", flush=True)
            if found["loss"] < least:
                least, best = found["loss"], {k: v.clone() for k, v in average.state_dict().items()}
    average.load_state_dict(best)
    print(f"best: {figures(average, check)}", flush=True)
    with_numbers(model, average)
    onnx.checker.check_model(model)
    onnx.save(model, out)


def _of_features(walls: list[Path], model: Any) -> Examples:
    """Joins of some walls, with what the network sees in their strips in place of these."""
    examples = Examples.read(walls, torch.device("cpu"))
    return dataclasses.replace(examples, strips=seen_by(model, examples.strips))


def main() -> None:
    """Tune from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--minutes", type=float, default=2.0)
    given = parser.parse_args()
    tune(sorted(given.folder.glob("*.npz")), given.out, given.minutes)


if __name__ == "__main__":
    main()

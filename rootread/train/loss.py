"""How wrong the network is, and the figures by which checkpoints are compared."""

from dataclasses import dataclass

import torch
import torch.nn.functional as F  # noqa: N812
from torch import Tensor

from rootread.train.net import Outputs
from rootread.train.pool import Examples

SHAPE_SHARE = 0.15
BINS = 200


def loss(outputs: Outputs, examples: Examples) -> Tensor:
    """Weighted cross entropy and soft Dice on root, squared error on direction and log half-width."""
    cross = F.binary_cross_entropy_with_logits(outputs.root_logit, examples.root, weight=examples.weight)
    found = torch.sigmoid(outputs.root_logit)
    weight = examples.weight
    both = (weight * found * examples.root).sum((1, 2))
    either = (weight * (found + examples.root)).sum((1, 2))
    # 200 px stand in for the root of a bare picture, where Dice would have nothing to say.
    dice = (1 - (2 * both + 200.0) / (either + 200.0)).mean()
    return 4.0 * cross + dice + SHAPE_SHARE * _shape_error(outputs, examples)


def _shape_error(outputs: Outputs, examples: Examples) -> Tensor:
    on_root = (examples.root > 0.6).float()[:, ::2, ::2] * examples.weight[:, ::2, ::2]
    direction = (outputs.shape[:, :2] - examples.direction[:, :, ::2, ::2]).square().sum(1)
    width = (outputs.shape[:, 2] - examples.half_width[:, ::2, ::2].clamp_min(0.5).log()).square()
    return ((direction + width) * on_root).sum() / on_root.sum().clamp_min(1.0)


@dataclass
class Tally:
    """Counts of root and other pixels by predicted probability, for curves over any number of batches."""

    root: Tensor
    other: Tensor

    @classmethod
    def empty(cls, device: torch.device | str) -> "Tally":
        """No pixels yet."""
        return cls(
            torch.zeros(BINS, dtype=torch.float64, device=device),
            torch.zeros(BINS, dtype=torch.float64, device=device),
        )

    def add(self, outputs: Outputs, examples: Examples) -> None:
        """Count a batch; pixels on the edge of a root and sub-pixel hairs are left out."""
        sure = (examples.root > 0.6) & (examples.half_width >= 0.9) | (examples.root < 0.02)
        bin_of = (torch.sigmoid(outputs.root_logit) * BINS).long().clamp(0, BINS - 1)
        truth = examples.root > 0.6
        self.root += torch.bincount(bin_of[sure & truth], minlength=BINS).double()
        self.other += torch.bincount(bin_of[sure & ~truth], minlength=BINS).double()

    def figures(self) -> dict[str, float]:
        """Average precision, and precision and recall of pixels at probability 0.5 and at the best F1."""
        hit = self.root.flip(0).cumsum(0)
        false = self.other.flip(0).cumsum(0)
        recall = hit / self.root.sum().clamp_min(1.0)
        precision = hit / (hit + false).clamp_min(1.0)
        steps = torch.diff(recall, prepend=torch.zeros(1, dtype=recall.dtype, device=recall.device))
        f1 = 2 * precision * recall / (precision + recall).clamp_min(1e-9)
        half, best = BINS // 2 - 1, int(f1.argmax())
        return {
            "average_precision": float((precision * steps).sum()),
            "precision_at_half": float(precision[half]),
            "recall_at_half": float(recall[half]),
            "best_f1": float(f1[best]),
            "best_threshold": 1.0 - (best + 1) / BINS,
        }

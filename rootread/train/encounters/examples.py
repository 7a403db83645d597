"""Encounters of made walls, as ``walls`` keeps them, to learn from."""

from dataclasses import dataclass, fields
from multiprocessing.pool import ThreadPool
from pathlib import Path

import numpy as np
import torch
from torch import Tensor

from rootread.follow.encounters import LINKS
from rootread.train.encounters.net import LIMBS
from rootread.train.encounters.truth import SHOWN

SHORTEST_IN = 0.2
"""A link between short limbs counts less than one between limbs of an inch and more, no less than this."""
READERS = 16


@dataclass
class Examples:
    """Encounters of many walls."""

    pictures: Tensor
    """``(S, 11, 96, 192)`` 0 to 255, as of ``follow.encounter_pictures``."""
    facts: Tensor
    """``(S, 97)``, as of ``follow.encounter_facts``."""
    of_one: Tensor
    """``(S, 4)`` whether limbs are of one root: 1, -1, or 0 where one is not there."""
    weight: Tensor
    """``(S, 4)`` how much each counts."""
    onto: Tensor
    """``(S, 4, 12, 24)`` where the true root of each limb lies: 1, 0, or -1 where it has none."""

    @classmethod
    def read(cls, files: list[Path], device: torch.device) -> "Examples":
        """All walls of some files."""
        with ThreadPool(READERS) as readers:
            counts = readers.map(_count, files)
            at = np.cumsum([0, *counts])
            with np.load(files[0]) as wall:
                shape = wall["pictures"].shape[1:], wall["facts"].shape[1:]
            pictures = torch.empty((at[-1], *shape[0]), dtype=torch.uint8, device=device)
            facts = torch.empty((at[-1], *shape[1]), device=device)
            of_one = torch.empty((at[-1], len(LINKS)), dtype=torch.int8, device=device)
            weight = torch.empty((at[-1], len(LINKS)), device=device)
            onto = torch.empty((at[-1], LIMBS, *SHOWN), dtype=torch.int8, device=device)

            def fill(k: int) -> None:
                with np.load(files[k]) as wall:
                    here = slice(at[k], at[k + 1])
                    pictures[here] = torch.from_numpy(wall["pictures"]).to(device)
                    facts[here] = torch.from_numpy(wall["facts"]).to(device)
                    of_one[here] = torch.from_numpy(wall["of_one"]).to(device)
                    onto[here] = torch.from_numpy(wall["onto"]).to(device)
                    shorter = wall["length"][:, LINKS].min(axis=2).clip(SHORTEST_IN, 1.0)
                    weight[here] = torch.from_numpy(shorter * (wall["of_one"] != 0)).to(device)

            readers.map(fill, range(len(files)))
        return cls(pictures, facts, of_one, weight, onto)

    def some(self, chosen: Tensor) -> "Examples":
        """Those at places ``chosen``."""
        return Examples(*(getattr(self, field.name)[chosen] for field in fields(self)))

    def where(self, chosen: Tensor, other: "Examples") -> "Examples":
        """Those where ``(S,)`` ``chosen`` is True, of another the rest."""
        pairs = [(getattr(self, field.name), getattr(other, field.name)) for field in fields(self)]
        return Examples(
            *(torch.where(chosen.reshape(-1, *[1] * (one.ndim - 1)), one, two) for one, two in pairs)
        )


def _count(file: Path) -> int:
    with np.load(file) as wall:
        return len(wall["facts"])

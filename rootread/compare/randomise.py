"""Randomisation test: how often would treatments that do nothing look so different?

If the treatments did nothing, each pit would have shown the same figures
whichever treatment its walls had been given. So the treatments' names are
dealt out again, in every possible way within each block, and the observed
difference is compared with all that could have come out. With two treatments
side by side in each pit this is Fisher's test of signs with sizes (The Design
of Experiments, 1935, chapter III); without pairs it is Pitman's (Supplement
to the J. Royal Statistical Society 4:119-130, 1937; both from memory).
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from rootread.compare.chunks import chunks
from rootread.compare.units import Block

Floats = NDArray[np.float64]

MOST_EXACT = 70_000
"""Up to so many deals all are looked at (16 pairs: 65,536); beyond, a random sample."""
DEALS = 9_999
"""Sampled deals: the p value is then good to +- 0.004 near 0.05."""
SAME = 1e-9
"""Two statistics closer than this share of the observed one are equal but for rounding."""


@dataclass(frozen=True)
class Randomisation:
    """Outcome of the test."""

    p_value: float
    """Two-sided where there are two treatments."""
    deals: int
    exact: bool

    @property
    def least_p(self) -> float:
        """The smallest p that so few deals can give: the observed one and its mirror image."""
        return min(2.0 / self.deals, 1.0) if self.exact else 1.0 / (self.deals + 1)


def randomisation_test(blocks: Sequence[Block], rng: np.random.Generator) -> Randomisation:
    """Test whether treatments differ, with names dealt out again within each block.

    The statistic is the sum of squares between treatments of what is left
    after each block's mean. With two treatments it orders deals as the
    absolute difference of their means does.
    """
    treatments = sorted({name for block in blocks for name in block.treatments})
    groups = _alike(blocks, treatments)
    counts = np.zeros(len(treatments))
    observed = np.zeros(len(treatments))
    for labels, values in groups.items():
        kinds = np.array(labels)
        counts += len(values) * np.bincount(kinds, minlength=len(counts))
        observed += _sums(values.sum(axis=0), kinds, len(counts))
    reached = _between(observed[None], counts)[0] * (1 - SAME)
    deals = math.prod(_arrangements(labels) ** len(values) for labels, values in groups.items())
    if deals <= MOST_EXACT:
        as_far = _between(_all_sums(groups, len(counts)), counts) >= reached
        return Randomisation(float(as_far.mean()), deals, True)
    far = sum(
        int((_between(_some_sums(groups, len(counts), rows, rng), counts) >= reached).sum())
        for rows in chunks(DEALS, sum(values.size for values in groups.values()))
    )
    return Randomisation((1 + far) / (1 + DEALS), DEALS, False)


def _alike(blocks: Sequence[Block], treatments: Sequence[str]) -> dict[tuple[int, ...], Floats]:
    """Blocks with the same treatments together: labels in order, and ``(B, K)`` centred values."""
    groups: dict[tuple[int, ...], list[Floats]] = {}
    for block in blocks:
        labels = np.array([treatments.index(name) for name in block.treatments])
        order = np.argsort(labels, kind="stable")
        values = np.array(block.values)[order]
        groups.setdefault(tuple(labels[order].tolist()), []).append(values - values.mean())
    return {labels: np.array(values) for labels, values in groups.items()}


def _all_sums(groups: dict[tuple[int, ...], Floats], treatments: int) -> Floats:
    """``(D, T)`` sums by treatment of every possible deal."""
    sums = np.zeros((1, treatments))
    for labels, values in groups.items():
        deals = list(_deals(np.array(labels)))
        for block in values:
            dealt = np.array([_sums(block, deal, treatments) for deal in deals])
            sums = (sums[:, None] + dealt[None]).reshape(-1, treatments)
    return sums


def _some_sums(
    groups: dict[tuple[int, ...], Floats], treatments: int, rows: int, rng: np.random.Generator
) -> Floats:
    """``(rows, T)`` sums by treatment of deals drawn by chance."""
    sums = np.zeros((rows, treatments))
    for labels, values in groups.items():
        shuffled = rng.permuted(np.broadcast_to(values, (rows, *values.shape)), axis=2).sum(axis=1)
        for place, kind in enumerate(labels):
            sums[:, kind] += shuffled[:, place]
    return sums


def _sums(values: Floats, labels: NDArray[np.intp], treatments: int) -> Floats:
    return np.bincount(labels, weights=values, minlength=treatments).astype(np.float64)


def _between(sums: Floats, counts: Floats) -> Floats:
    """``(D,)`` sum of squares between treatments, for ``(D, T)`` sums of centred values."""
    return (sums**2 / counts).sum(axis=1)


def _arrangements(labels: Sequence[int]) -> int:
    """How many different ways the labels of a block can be dealt."""
    return math.factorial(len(labels)) // math.prod(math.factorial(int(n)) for n in np.bincount(labels))


def _deals(labels: NDArray[np.intp]) -> Iterator[NDArray[np.intp]]:
    """Every different way to deal the labels of a block."""

    def deal(free: tuple[int, ...], kinds: Sequence[tuple[int, int]]) -> Iterator[dict[int, int]]:
        if not kinds:
            yield {}
            return
        kind, number = kinds[0]
        for chosen in combinations(free, number):
            left = tuple(place for place in free if place not in chosen)
            for rest in deal(left, kinds[1:]):
                yield rest | dict.fromkeys(chosen, kind)

    kinds = [(int(kind), int(n)) for kind, n in enumerate(np.bincount(labels)) if n]
    for places in deal(tuple(range(len(labels))), kinds):
        yield np.array([places[place] for place in range(len(labels))])


def f_ratio(blocks: Sequence[Block]) -> float:
    """Variance between treatments over variance within, blocks taken out: the F of analysis of variance.

    NaN where nothing is left to judge by.
    """
    treatments = sorted({name for block in blocks for name in block.treatments})
    labels = np.concatenate([[treatments.index(name) for name in block.treatments] for block in blocks])
    # Values are centred before they are squared: figures that agree in their first seven digits
    # would lose the rest otherwise.
    values = np.concatenate([np.array(block.values) - np.mean(block.values) for block in blocks])
    counts = np.bincount(labels).astype(float)
    between = float(_between(_sums(values, labels, len(counts))[None], counts)[0])
    within = float(((values - (_sums(values, labels, len(counts)) / counts)[labels]) ** 2).sum())
    free_between = len(counts) - 1
    free_within = len(values) - len(blocks) - free_between
    if free_between < 1 or free_within < 1 or within <= 0:
        return float("nan")
    return (between / free_between) / (within / free_within)

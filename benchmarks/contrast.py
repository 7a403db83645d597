"""How often treatments that do nothing are found to differ, and how often intervals hold the truth.

usage: python benchmarks/contrast.py [--sets N] [--out DIR]

Null sets: pits with two treatments that do nothing, one wall each, ten roots a
wall that are strongly alike within it. Beside the contrast stands what a t test
of all roots, as if each were a plot of its own, would have claimed of the same
sets. With five measures each set is asked five questions at once.
"""

import argparse
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from rootread.compare import contrast_walls
from rootread.compare.effect import paired_effect, unpaired_effect

ROOTS_A_WALL = 10
SOIL_SD, WALL_SD, ROOT_SD = 6.0, 6.0, 4.0
"""Pits, walls and roots: of the spread of roots four fifths are shared by those of one wall."""
MEASURES = {
    "grade": "grade",
    "descent": "descent_deg",
    "passage": "passage",
    "tortuosity": "tortuosity",
    "flattened": "flattened_share",
}
LEVEL = 0.05
LOOK_EVERY = 10
"""The mixed model takes longest, so it looks at each tenth set."""


def null_set(draw: np.random.Generator, pits: int, paired: bool) -> tuple[list[dict], list[dict]]:
    """Rows of walls and of roots; every measure is drawn anew, so five measures are five questions."""
    walls, roots = [], []
    for pit in range(pits if paired else 2 * pits):
        soil = draw.normal(0, SOIL_SD, len(MEASURES))
        for name in ("a", "b") if paired else ("ab"[pit % 2],):
            centre = soil + draw.normal(0, WALL_SD, len(MEASURES))
            values = 100 + centre + draw.normal(0, ROOT_SD, (ROOTS_A_WALL, len(MEASURES)))
            wall = {"wall": f"{pit}{name}", "pit": str(pit), "treatment": name, "status": "read"}
            walls.append(wall | dict(zip(MEASURES.values(), values.mean(axis=0), strict=True)))
            columns = zip(MEASURES.values(), values.T, strict=True)
            figures = pd.DataFrame(dict(columns)).assign(wall=wall["wall"], width_in=0.1)
            roots += figures.to_dict("records")
    return walls, roots


def naive_p(walls: list[dict], roots: list[dict]) -> float:
    """A t test over all roots."""
    side = {wall["wall"]: wall["treatment"] for wall in walls}
    first, second = (
        [root["descent_deg"] for root in roots if side[root["wall"]] == name] for name in ("a", "b")
    )
    return float(stats.ttest_ind(first, second).pvalue)


def false_positives(pits: int, paired: bool, sets: int, seed: int) -> dict[str, object]:
    """Share of null sets in which each way of looking finds a difference."""
    draw = np.random.default_rng(seed)
    one, many, naive, model = [], [], [], []
    for number in range(sets):
        walls, roots = null_set(draw, pits, paired)
        looked = number % LOOK_EVERY == 0
        pair = contrast_walls(walls, measures=("descent",), roots=roots if looked else ()).pairs[0]
        one.append(pair.test.p_value <= LEVEL)
        if looked and pair.roots:
            model.append(pair.roots.p_value <= LEVEL)
        pairs = contrast_walls(walls, measures=tuple(MEASURES)).pairs
        many.append(min(pair.p_holm for pair in pairs) <= LEVEL)
        naive.append(naive_p(walls, roots) <= LEVEL)
    return {
        "pits": pits if paired else f"{pits} + {pits}",
        "design": "paired" if paired else "unpaired",
        "contrast, one measure": np.mean(one),
        "any of five, corrected": np.mean(many),
        "mixed model": np.mean(model) if model else np.nan,
        "t test of all roots": np.mean(naive),
    }


def coverage(pits: int, paired: bool, skewed: bool, sets: int, seed: int) -> dict[str, object]:
    """Share of intervals that hold the true difference."""
    draw = np.random.default_rng(seed)

    def sample() -> NDArray[np.float64]:
        return draw.lognormal(0, 0.7, pits) if skewed else draw.normal(0, 1, pits)

    middle = np.exp(0.7**2 / 2) if skewed else 0.0
    held = 0
    for _ in range(sets):
        effect = paired_effect(sample(), draw) if paired else unpaired_effect(sample(), sample(), draw)
        held += effect.low <= (middle if paired else 0.0) <= effect.high
    return {
        "pits": pits if paired else f"{pits} + {pits}",
        "design": "paired" if paired else "unpaired",
        "figures": "skewed" if skewed else "normal",
        "held": held / sets,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sets", type=int, default=1000)
    parser.add_argument("--out", type=Path, default=Path("out/contrast"))
    given = parser.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    designs = [(8, True), (12, True), (20, True), (6, False), (10, False)]
    rates = pd.DataFrame([false_positives(pits, paired, given.sets, seed=1) for pits, paired in designs])
    holds = pd.DataFrame(
        [
            coverage(pits, paired, skewed, given.sets, seed=2)
            for skewed in (False, True)
            for paired in (True, False)
            for pits in (3, 5, 8, 20)
        ]
    )
    for name, table in (("false_positives", rates), ("coverage", holds)):
        table.to_csv(given.out / f"{name}.csv", index=False, float_format="%.4f")
        print(table.to_string(index=False, float_format=lambda value: f"{100 * value:.1f} %"), "\n")


if __name__ == "__main__":
    main()

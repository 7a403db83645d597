"""Treatments set against one another, measure by measure."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rootread.compare.effect import Effect, holm, paired_effect, pits_needed, unpaired_effect
from rootread.compare.measures import DEFAULT, Measure, Row, measures_named
from rootread.compare.randomise import Randomisation, f_ratio, randomisation_test
from rootread.compare.rootmodel import RootModel, fit_roots, root_frame
from rootread.compare.units import Unit, design_of, text, units_of
from rootread.errors import BadRequest

Floats = NDArray[np.float64]

SEED = 1
MOST_TOLD = 3
"""Treatments that are told of pair by pair; of four there are six pairs already."""


@dataclass(frozen=True)
class Overall:
    """Whether more than two treatments differ at all."""

    f: float
    test: Randomisation


@dataclass(frozen=True)
class Pair:
    """Two treatments, by one measure."""

    measure: Measure
    first: str
    second: str
    paired: bool
    units: tuple[Unit, ...]
    """Those that were compared."""
    unit_word: str
    """What a unit is called: pit, wall, or block."""
    effect: Effect
    test: Randomisation | None
    """None where a treatment has one unit alone: then the walls can be compared, the treatments cannot."""
    p_holm: float
    """Corrected over all pairs and measures; 1 without a test."""
    pits_needed: int | None
    """To see a difference that matters 8 times in 10; None where nothing is known or no number is enough."""
    spread_known: bool
    """The pits themselves showed how much they vary; else only the reading of a wall did, which is less."""
    roots: RootModel | None

    def values(self, treatment: str) -> Floats:
        """The units of one treatment."""
        return np.array([unit.value for unit in self.units if unit.treatment == treatment])

    @property
    def differences(self) -> Floats:
        """``(n,)`` first less second, pit by pit; empty unless paired."""
        return _differences(self.units, self.first, self.second) if self.paired else np.zeros(0)


@dataclass(frozen=True)
class Contrast:
    """All treatments by all measures."""

    by: str
    pair: str
    treatments: tuple[str, ...]
    measures: tuple[Measure, ...]
    units: dict[str, tuple[Unit, ...]]
    """By the name of the measure."""
    overall: dict[str, Overall]
    """By the name of the measure; empty for two treatments."""
    pairs: tuple[Pair, ...]
    left_out: tuple[str, ...]
    """Walls that could not be used: refused, or without a treatment."""
    without_pit: int
    """Walls that name no pit, each taken for a pit of its own; 0 where all walls are compared with all."""

    @property
    def many(self) -> bool:
        """More treatments than can be told of pair by pair."""
        return len(self.treatments) > MOST_TOLD


def contrast_walls(
    rows: Sequence[Row] | pd.DataFrame,
    by: str = "treatment",
    pair: str = "pit",
    measures: Sequence[str] = DEFAULT,
    roots: Sequence[Row] | pd.DataFrame = (),
    seed: int = SEED,
) -> Contrast:
    """Compare treatments over pits.

    Parameters
    ----------
    rows : rows of ``walls.csv``, of one folder or several; with several, a
        column ``folder`` tells walls and pits of the same name apart.
    by : column that names the treatment.
    pair : column that names the pit; blank compares all walls with all.
    measures : names of the figures, see ``compare.measures``.
    roots : rows of ``roots.csv`` for the model of single roots; left out, there is none.
    seed : of the sampled deals and resamples.

    Raises
    ------
    BadRequest : a column or measure is not known, or there are not two treatments to compare.
    """
    walls = records_of(rows)
    chosen = measures_named(measures)
    for name in (by, pair):
        if name and walls and name not in walls[0]:
            raise BadRequest(f"walls.csv has no column {name}.", f"It has {', '.join(_in_words(walls))}.")
    used = [row for row in walls if _usable(row, by)]
    treatments = tuple(sorted({text(row, by) for row in used}))
    if len(treatments) < 2:
        found = f"only {treatments[0]!r}" if treatments else "none"
        raise BadRequest(
            f"To contrast, walls of at least two kinds of {by} are needed; there is {found}.",
            f"Fill the column {by} of the field sheet and grade again.",
        )
    units = {measure.name: units_of(used, by, pair, measure) for measure in chosen}
    root_table = roots if isinstance(roots, pd.DataFrame) else pd.DataFrame(list(roots))
    by_roots = [measure for measure in chosen if measure.root_column and len(root_table)]
    unit_word = {"": "wall", "pit": "pit"}.get(pair, "block")
    pairs = []
    for measure in chosen:
        frame = root_frame(used, root_table, by, pair, measure) if measure in by_roots else None
        for first, second in combinations(treatments, 2):
            one = _pair(measure, units[measure.name], first, second, frame, seed)
            pairs += [replace(one, unit_word=unit_word)] if one else []
    return Contrast(
        by=by,
        pair=pair,
        treatments=treatments,
        measures=chosen,
        units=units,
        overall={} if len(treatments) == 2 else _overall(units, treatments, seed),
        pairs=_corrected(pairs),
        left_out=tuple(text(row, "wall") for row in walls if not _usable(row, by)),
        without_pit=sum(not text(row, pair) for row in used) if pair else 0,
    )


def _in_words(walls: Sequence[Row]) -> list[str]:
    """The columns that hold words, by which walls could be told apart; ``reason`` is a sentence."""
    names = {name: [row.get(name) for row in walls] for name in walls[0] if name != "reason"}
    return [name for name, cells in names.items() if any(isinstance(cell, str) and cell for cell in cells)]


def _usable(row: Row, by: str) -> bool:
    return text(row, "status") in ("", "read") and bool(text(row, by))


def records_of(rows: Sequence[Row] | pd.DataFrame) -> list[Row]:
    """Rows of a table as mappings."""
    if isinstance(rows, pd.DataFrame):
        # Blank cells of whole numbers are of a kind of their own, which compares with nothing.
        plain = rows.astype(object).where(rows.notna(), None)
        return [{str(name): value for name, value in row.items()} for row in plain.to_dict("records")]
    return list(rows)


def _pair(
    measure: Measure, units: Sequence[Unit], first: str, second: str, frame: pd.DataFrame | None, seed: int
) -> Pair | None:
    """Two treatments by one measure; None where one of them has no figure."""
    two = [unit for unit in units if unit.treatment in (first, second)]
    a, b = (np.array([unit.value for unit in two if unit.treatment == name]) for name in (first, second))
    if not (len(a) and len(b)):
        return None
    rng = np.random.default_rng(seed)
    paired, blocks = design_of(two, (first, second))
    if paired:
        both = {unit.pit for unit in two if unit.treatment == first}
        both &= {unit.pit for unit in two if unit.treatment == second}
        two = [unit for unit in two if unit.pit in both]
        differences = _differences(two, first, second)
        effect, sd = paired_effect(differences, rng), float(differences.std(ddof=1))
    else:
        effect, sd = unpaired_effect(a, b, rng), _pooled_sd(a, b)
    effect = effect.within(measure.most)
    enough = paired or min(len(a), len(b)) >= 2
    known = np.isfinite(sd) and sd > 0
    together = paired or len({unit.pit for unit in two}) == 1
    if not known:
        # Of two walls: their difference, as far as reading them leaves it unsure; else of one wall.
        sd = float(np.sqrt((2 if together else 1) * np.mean([unit.se**2 for unit in two])))
    return Pair(
        measure=measure,
        first=first,
        second=second,
        paired=paired,
        units=tuple(two),
        unit_word="pit",
        effect=effect,
        test=randomisation_test(blocks, rng) if enough else None,
        p_holm=1.0,
        pits_needed=pits_needed(measure.matters, sd, together),
        spread_known=bool(known),
        roots=None if frame is None or frame.empty else fit_roots(frame, first, second),
    )


def _differences(units: Sequence[Unit], first: str, second: str) -> Floats:
    value = {(unit.pit, unit.treatment): unit.value for unit in units}
    pits = sorted({unit.pit for unit in units})
    return np.array([value[pit, first] - value[pit, second] for pit in pits])


def _pooled_sd(a: Floats, b: Floats) -> float:
    """Standard deviation within treatments; NaN where no treatment has two units."""
    free = len(a) + len(b) - 2
    squares = ((a - a.mean()) ** 2).sum() + ((b - b.mean()) ** 2).sum()
    return float(np.sqrt(squares / free)) if free else float("nan")


def _overall(units: dict[str, tuple[Unit, ...]], treatments: Sequence[str], seed: int) -> dict[str, Overall]:
    """One test over all treatments for each measure that leaves something to judge by."""
    found = {}
    for name, members in units.items():
        if not members:
            continue
        _, blocks = design_of(members, treatments)
        f = f_ratio(blocks)
        if np.isfinite(f):
            found[name] = Overall(f, randomisation_test(blocks, np.random.default_rng(seed)))
    return found


def _corrected(pairs: Sequence[Pair]) -> tuple[Pair, ...]:
    """The pairs with their p values corrected for having asked so often."""
    tested = [pair for pair in pairs if pair.test]
    corrected = iter(holm([pair.test.p_value for pair in tested if pair.test]))
    return tuple(replace(pair, p_holm=next(corrected)) if pair.test else pair for pair in pairs)

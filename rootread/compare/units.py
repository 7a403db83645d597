"""What is compared with what: the pit is the unit, never the root.

Roots of one wall share its soil, its water and the day's light, and walls of
one pit share the pit, so counting them as if each were a plot of its own finds
differences where there are none (pseudoreplication: Hurlbert 1984, Ecological
Monographs 54:187-211; from memory). Here all walls of a treatment in one pit
become one number, and treatments are compared pit by pit where a pit holds
more than one of them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.compare.measures import Measure, Row, number
from rootread.measure.intervals import NORMAL_95

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Growth:
    """What the sheet says grew above a wall, and when it was dug; "" where it says nothing."""

    crop: str
    stage: str
    date: str


@dataclass(frozen=True)
class Unit:
    """One treatment in one pit."""

    treatment: str
    pit: str
    """Its block: pits of different result folders are different pits; a wall without pit is its own."""
    walls: tuple[str, ...]
    value: float
    """Mean of its walls."""
    wall_values: tuple[float, ...]
    se: float
    """What the reading of its walls alone is unsure by; NaN where the table does not say."""
    growths: tuple[Growth, ...]
    """Of its walls, in their order."""


@dataclass(frozen=True)
class Block:
    """The units that were side by side: those of one pit, or all units where nothing is paired."""

    treatments: tuple[str, ...]
    values: tuple[float, ...]


def units_of(rows: Sequence[Row], by: str, pair: str, measure: Measure) -> tuple[Unit, ...]:
    """The units that have this measure, by treatment and pit."""
    groups: dict[tuple[str, str], list[tuple[Row, float]]] = {}
    for row in rows:
        value = measure.of_wall(row)
        treatment = text(row, by)
        if treatment and value is not None:
            groups.setdefault((treatment, block_of(row, pair)), []).append((row, value))
    return tuple(_unit(key, groups[key], measure) for key in sorted(groups))


def _unit(key: tuple[str, str], walls: Sequence[tuple[Row, float]], measure: Measure) -> Unit:
    values = [value for _, value in walls]
    errors = np.array([_reading_se(row, measure) for row, _ in walls])
    return Unit(
        treatment=key[0],
        pit=key[1],
        walls=tuple(text(row, "wall") for row, _ in walls),
        value=float(np.mean(values)),
        wall_values=tuple(values),
        se=float(np.sqrt((errors**2).sum()) / len(errors)),
        growths=tuple(Growth(text(row, "crop"), text(row, "stage"), text(row, "date")) for row, _ in walls),
    )


def _reading_se(row: Row, measure: Measure) -> float:
    """From the wall's own 95 % interval, where the table has one."""
    low, high = number(row.get(f"{measure.name}_low")), number(row.get(f"{measure.name}_high"))
    return (high - low) / (2 * NORMAL_95) if low is not None and high is not None else float("nan")


def text(row: Row, name: str) -> str:
    """A cell as text, blank for what is missing; a spreadsheet's NaN is missing."""
    value = row.get(name)
    return "" if value is None or value != value else str(value).strip()


def block_of(row: Row, pair: str) -> str:
    """The pit of a wall, told apart from pits of other folders; without one the wall itself."""
    name = text(row, pair) if pair else ""
    return " ".join(part for part in (text(row, "folder"), name or f"wall {text(row, 'wall')}") if part)


def paired_blocks(units: Sequence[Unit], treatments: Sequence[str]) -> list[Block]:
    """The pits that hold at least two of the treatments."""
    pits: dict[str, list[Unit]] = {}
    for unit in units:
        if unit.treatment in treatments:
            pits.setdefault(unit.pit, []).append(unit)
    return [_block(members) for members in pits.values() if len(members) > 1]


def design_of(units: Sequence[Unit], treatments: Sequence[str]) -> tuple[bool, list[Block]]:
    """Whether pits are compared within themselves, and the blocks to compare.

    Paired when at least two pits, and at least half of all pits, hold more
    than one of the treatments; pits that hold one alone are then left out.
    """
    compared = [unit for unit in units if unit.treatment in treatments]
    blocks = paired_blocks(units, treatments)
    pits = {unit.pit for unit in compared}
    if len(blocks) >= 2 and 2 * len(blocks) >= len(pits):
        return True, blocks
    return False, [_block(compared)] if compared else []


def _block(units: Sequence[Unit]) -> Block:
    return Block(tuple(unit.treatment for unit in units), tuple(unit.value for unit in units))

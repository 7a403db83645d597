"""The figures that treatments are compared by."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from rootread.errors import BadRequest

Row = Mapping[str, Any]


@dataclass(frozen=True)
class Measure:
    """One figure of a wall."""

    name: str
    words: str
    """What it is called in a sentence."""
    unit: str
    """How it is written after a number."""
    digits: int
    matters: float
    """The smallest difference that would change what a grower does; pits are counted for it."""
    of_wall: Callable[[Row], float | None]
    """Its value from a row of ``walls.csv``; None where the wall has none."""
    most: float = math.inf
    """No two walls can differ by more."""
    scale: float = 1.0
    """What it is multiplied by when it is written: 100 for shares."""
    root_column: str = ""
    """The column of ``roots.csv`` that holds it for one root, if there is one."""
    meaning: str = ""
    """What it is, for those that do not say so by their name."""

    def bare(self, value: float, signed: bool = False) -> str:
        """A value as it is written, without its unit."""
        written = round(self.scale * value, self.digits) or 0.0  # no sign before zero
        return f"{written:{'+' if signed and written else ''}.{self.digits}f}".replace("-", "−")

    def says(self, value: float) -> str:
        """A value with its unit."""
        return self.bare(value) + self.unit

    def rounded(self, value: float) -> float:
        """The value as a reader sees it, so that what is written adds up."""
        return round(self.scale * value, self.digits) / self.scale

    @property
    def unit_apart(self) -> str:
        """How it is written after a difference: 5 % more of 20 % would be 21 %."""
        return " percentage points" if self.unit == " %" else self.unit

    @property
    def apart_on_axis(self) -> str:
        """What is written along the axis of differences."""
        unit = self.unit_apart.strip().replace("°", "degrees").replace("of 100 roots", "roots of 100")
        return f"difference, {unit}" if unit else "difference"

    @property
    def on_axis(self) -> str:
        """What is written along its axis."""
        unit = self.unit.strip().replace("°", "degrees below level")
        return f"{self.words}, {unit}" if unit else self.words

    @property
    def aim(self) -> str:
        """The difference that matters, as it is written."""
        return f"{self.scale * self.matters:g}{self.unit_apart}"

    def says_range(self, low: float, high: float) -> str:
        """Two ends of a difference, the unit once."""
        return f"{self.bare(low, True)} to {self.bare(high, True)}{self.unit_apart}"


def number(value: Any) -> float | None:
    """A cell as a number; None for blank, missing or not finite."""
    try:
        found = float(value)
    except (TypeError, ValueError):
        return None
    return found if abs(found) < float("inf") else None


def _column(name: str) -> Callable[[Row], float | None]:
    return lambda row: number(row.get(name))


def _sideways_share(row: Row) -> float | None:
    sideways, length = number(row.get("sideways_in")), number(row.get("root_length_in"))
    return sideways / length if sideways is not None and length else None


ALL = (
    # Verdict words are 20 points apart: half of that is a difference.
    Measure("grade", "grade", " points", 1, 10.0, _column("grade"), 100.0),
    # The growth pattern is 5 degrees wide.
    Measure("descent", "mean descent", "°", 1, 5.0, _column("descent_deg"), 180.0, root_column="descent_deg"),
    Measure(
        "passage",
        "passage",
        " of 100 roots",
        1,
        0.2,
        _column("passage"),
        1.0,
        100.0,
        meaning="Of 100 roots, how many get down the wall without turning or stopping.",
    ),
    Measure(
        "tortuosity",
        "tortuosity",
        "",
        3,
        0.05,
        _column("tortuosity"),
        root_column="tortuosity",
        meaning="Root length over the straight line between its ends; 1 is straight.",
    ),
    Measure("sideways", "share of root run sideways", " %", 1, 0.05, _sideways_share, 1.0, 100.0),
    Measure(
        "flattened",
        "share of root that looks flat",
        " %",
        1,
        0.05,
        _column("flattened_share"),
        1.0,
        100.0,
        "flattened_share",
    ),
)
DEFAULT = ("grade", "descent", "passage", "tortuosity", "sideways")


def measures_named(names: Sequence[str]) -> tuple[Measure, ...]:
    """The measures of these names, in this order.

    Raises
    ------
    BadRequest : one is not known.
    """
    known = {measure.name: measure for measure in ALL}
    for name in names:
        if name not in known:
            raise BadRequest(f"--measure {name} is not known.", f"Choose from {', '.join(known)}.")
    return tuple(known[name] for name in dict.fromkeys(names))

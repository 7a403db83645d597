"""A contrast as a table: a row for each measure and pair of treatments."""

from typing import Any

import pandas as pd

from rootread.compare.contrast import Contrast, Pair
from rootread.report.tables import spreadsheet_safe

COLUMNS = (
    "measure",
    "first",
    "second",
    "design",
    "pits",
    "first_mean",
    "second_mean",
    "difference",
    "difference_low",
    "difference_high",
    "p_value",
    "p_corrected",
    "pits_needed",
    "root_difference",
    "root_difference_low",
    "root_difference_high",
    "root_p_value",
)


def contrast_table(contrast: Contrast) -> pd.DataFrame:
    """A row a measure and pair of treatments; NaN where there is no figure."""
    table = pd.DataFrame([_row(pair) for pair in contrast.pairs], columns=list(COLUMNS))
    kinds = {name: float for name in COLUMNS if name.startswith(("difference", "p_", "root_"))}
    return table.astype({**kinds, "pits_needed": "Int64"})


def contrast_csv(contrast: Contrast) -> str:
    """The same as CSV text, blank where there is no figure."""
    table = contrast_table(contrast).map(spreadsheet_safe)
    return str(table.to_csv(index=False, float_format="%.5g", lineterminator="\n"))


def _row(pair: Pair) -> dict[str, Any]:
    roots = pair.roots
    return {
        "measure": pair.measure.name,
        "first": pair.first,
        "second": pair.second,
        "design": "paired" if pair.paired else "unpaired",
        "pits": len({unit.pit for unit in pair.units}),
        "first_mean": float(pair.values(pair.first).mean()),
        "second_mean": float(pair.values(pair.second).mean()),
        "difference": pair.effect.value,
        "difference_low": pair.effect.low,
        "difference_high": pair.effect.high,
        "p_value": pair.test.p_value if pair.test else None,
        "p_corrected": pair.p_holm if pair.test else None,
        "pits_needed": pair.pits_needed,
        "root_difference": roots.effect if roots else None,
        "root_difference_low": roots.low if roots else None,
        "root_difference_high": roots.high if roots else None,
        "root_p_value": roots.p_value if roots else None,
    }

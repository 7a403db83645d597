"""A contrast as a table: a row for each measure and pair of treatments."""

from typing import Any

import pandas as pd

from rootread.compare.contrast import Contrast, Pair
from rootread.compare.unlike import crops_of
from rootread.report.tables import spreadsheet_safe
from rootread.schema import Column

COLUMNS = (
    Column("measure", str, "", "figure that is compared; shares are from 0 to 1"),
    Column("first", str, "", "one treatment"),
    Column("second", str, "", "the other"),
    Column("design", str, "", "paired: pits (or blocks) that hold both are set side by side; else unpaired"),
    Column("pits", int, "", "number of pits compared"),
    Column("first_mean", float, "", "mean of the first treatment's pits"),
    Column("second_mean", float, "", "mean of the second's"),
    Column("difference", float, "", "first less second, on average over pairs where paired"),
    Column("difference_low", float, "", "lower end of its 95 % interval"),
    Column("difference_high", float, "", "upper end of it"),
    Column("p_value", float, "", "chance of so large a difference if the treatments were shuffled"),
    Column("p_corrected", float, "", "the same, corrected for all measures and pairs (Holm)"),
    Column(
        "pits_needed",
        int,
        "",
        "pits with both treatments (unpaired: of each) to see a difference that matters 8 times in 10",
    ),
    Column("root_difference", float, "", "the difference by a model of single roots within walls"),
    Column("root_difference_low", float, "", "lower end of its 95 % interval"),
    Column("root_difference_high", float, "", "upper end of it"),
    Column("root_p_value", float, "", "p value of that difference"),
    Column("crops", str, "", "crops of the walls compared, from the field sheet; several mean: not alike"),
)


def contrast_table(contrast: Contrast) -> pd.DataFrame:
    """A row a measure and pair of treatments; NaN where there is no figure."""
    table = pd.DataFrame([_row(pair) for pair in contrast.pairs], columns=[c.name for c in COLUMNS])
    kinds = {column.name: float for column in COLUMNS if column.type is float}
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
        "crops": "; ".join(crops_of(pair.units)),
    }

"""A contrast as one page that carries everything inside itself, and as a table."""

import csv
import io
from collections.abc import Sequence
from typing import Any

from rootread.compare.contrast import Contrast, Pair
from rootread.compare.depths import DepthProfile
from rootread.compare.effect import LEVEL
from rootread.compare.plots import measure_plot, profile_plot
from rootread.compare.words import closing, opening, sentences
from rootread.report.section import template
from rootread.report.tables import FORMULA_STARTS
from rootread.report.words import listing

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


def contrast_page(contrast: Contrast, profiles: Sequence[DepthProfile] = ()) -> str:
    """The contrast as HTML: what differs, each measure drawn and said, root by depth, cautions."""
    return str(
        template("contrast.html").render(
            title=f"{listing(contrast.treatments)}: what the walls show",
            opening=opening(contrast),
            headline=headline(contrast),
            measures=[
                {
                    "name": measure.words,
                    "told": sentences(contrast, measure.name),
                    "plot": measure_plot(contrast, measure),
                }
                for measure in contrast.measures
            ],
            depths=profile_plot(profiles, contrast.treatments),
            closing=closing(contrast),
        )
    )


def headline(contrast: Contrast) -> str:
    """The contrast in one sentence."""
    if all(pair.test is None for pair in contrast.pairs):
        return "One pit of a treatment says nothing about the treatment."
    sure = [pair for pair in contrast.pairs if pair.test and pair.p_holm < LEVEL]
    if not sure:
        if all(pair.test.least_p > LEVEL for pair in contrast.pairs if pair.test):
            return "Too few pits to tell the treatments apart."
        return "No difference beyond what chance alone would make."
    told = [f"{pair.measure.words} ({pair.first} against {pair.second})" for pair in sure]
    return f"The treatments differ in {listing(told)}."


def contrast_csv(contrast: Contrast) -> str:
    """The contrast as CSV text, a row a pair of treatments and measure; blank where there is no figure."""
    content = io.StringIO()
    writer = csv.DictWriter(content, COLUMNS, lineterminator="\n")
    writer.writeheader()
    for pair in contrast.pairs:
        writer.writerow({name: _cell(value) for name, value in _row(pair).items()})
    return content.getvalue()


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


def _cell(value: Any) -> str:
    if value is None or value != value:
        return ""
    if isinstance(value, float):
        return f"{value:.5g}"
    text = str(value)
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text

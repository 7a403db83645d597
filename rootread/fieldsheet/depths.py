"""Depths of the sheet against the photo, against each other and against what is done in fields.

A number without a unit is inches. Who writes centimetres without saying so is
off by 2.54 times, which shows where a depth lies below all that is there.
"""

from collections.abc import Iterator
from dataclasses import replace

from rootread.fieldsheet.types import SheetRow
from rootread.units import length_words

WRITTEN_TO_IN = 1.0
"""Depths are measured from ground that is not even, and written down to the inch or so."""
DEEPEST_TOOL_IN = 36.0
"""Subsoilers run at 12 to 24 in, the deepest rippers at about 36 (common practice)."""
DEEPEST_PIT_IN = 96.0
"""Pits to look at roots in are 3 to 6 ft deep (common practice); those of 5 ft have to be shored."""
TOOL = "the tool"
REMEDY = (
    "A bare number in the sheet is inches: write the unit where it is another, such as 36 cm. "
    "If the depth is right, show more of the wall."
)


def depths_asked(row: SheetRow, deepest_in: float | None, surface_se_in: float = 0.0) -> str:
    """What to ask about the depths of a row; blank where all of them can be.

    Parameters
    ----------
    deepest_in : how far down the photo shows the wall; None where that is not known.
    surface_se_in : standard error of the depth's beginning.
    """
    return "; ".join(_asked(row, deepest_in, WRITTEN_TO_IN + 2.0 * surface_se_in))


def told_of_depths(asked: str) -> str:
    """What is asked, as a sentence, with what to do."""
    return f"The sheet has {asked}. {REMEDY}"


def without_doubtful_tool(row: SheetRow, deepest_in: float | None, surface_se_in: float = 0.0) -> SheetRow:
    """The row as advice may go by it: without the tool's depth where that is asked about.

    Parameters
    ----------
    deepest_in, surface_se_in : as ``depths_asked``.
    """
    alone = replace(row, layers=())
    doubtful = any(_of_written(alone, deepest_in, WRITTEN_TO_IN + 2.0 * surface_se_in))
    return replace(row, tool_depth_in=None) if doubtful else row


def _asked(row: SheetRow, deepest_in: float | None, give_in: float) -> Iterator[str]:
    yield from _of_written(row, deepest_in, give_in)
    pit_in = row.pit_depth_in
    if pit_in is not None and pit_in > DEEPEST_PIT_IN:
        yield f"a pit of {length_words(pit_in)}, deeper than roots are looked at in"


def _of_written(row: SheetRow, deepest_in: float | None, give_in: float) -> Iterator[str]:
    """What to ask about the depths of tool and layers."""
    written = [(layer.name, layer.depth_in) for layer in row.layers]
    if row.tool_depth_in is not None:
        written.insert(0, (TOOL, row.tool_depth_in))
    pit_in = row.pit_depth_in
    for name, depth_in in written:
        at = f"{name} at {length_words(depth_in)}"
        if deepest_in is not None and depth_in > deepest_in + give_in:
            yield f"{at}, but the photo shows the wall down to {length_words(deepest_in)}"
        elif pit_in is not None and depth_in > pit_in + WRITTEN_TO_IN:
            yield f"{at}, in a pit of {length_words(pit_in)}"
        elif name == TOOL and depth_in > DEEPEST_TOOL_IN:
            yield f"{at}, deeper than tools run"

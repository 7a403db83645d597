"""Every column of every table: name, type, unit and meaning.

The CSV files have these columns in this order, also when they have no rows.
"""

from collections.abc import Iterable
from dataclasses import dataclass

DECIMALS = {"in": 3, "cm": 3, "px/in": 3, "px/cm": 4, "deg": 2, "s": 2, "0-100": 1, "0-1": 3}
"""Digits after the point by unit: finer than any figure is sure, and such that inches written as
centimetres come back as they were. Ratios, which have no unit, get four."""
OF_A_RATIO = 4

Row = dict[str, str | float | int | None]
"""One row of a table by column name; None where there is nothing to say."""


@dataclass(frozen=True)
class Column:
    """One column of a table."""

    name: str
    type: type
    unit: str
    meaning: str


WALLS = (
    Column("wall", str, "", "name of the wall, unique in a run"),
    Column("photo", str, "", "file name of the photo"),
    Column("pit", str, "", "pit, from the field sheet"),
    Column("treatment", str, "", "treatment, from the field sheet"),
    Column("date", str, "", "date, from the field sheet"),
    Column("crop", str, "", "crop, from the field sheet"),
    Column("stage", str, "", "growth stage, from the field sheet"),
    Column("status", str, "", "read or refused"),
    Column("reason", str, "", "why a wall was refused, or what to be careful about"),
    Column("scale", str, "", "scale object used: card, staff, tape or points"),
    Column("px_per_in", float, "px/in", "photo pixels per wall inch at the scale object"),
    Column("px_per_in_se", float, "px/in", "standard error of px_per_in"),
    Column("tilt_deg", float, "deg", "how far the camera was from square to the wall"),
    Column("roots", int, "", "number of traces"),
    Column("root_length_in", float, "in", "total length of the traces"),
    Column(
        "descent_deg",
        float,
        "deg",
        "mean descent below horizontal over root length; thin roots do not count, those under 4 in and "
        "doubtful ones for less",
    ),
    Column("descent_low", float, "deg", "lower end of its 95 % interval"),
    Column("descent_high", float, "deg", "upper end of its 95 % interval"),
    Column(
        "shallow_share",
        float,
        "",
        "share of root length shallower than the growth pattern, by more than angles may be off by",
    ),
    Column("in_pattern_share", float, "", "share of root length in the growth pattern"),
    Column(
        "steep_share",
        float,
        "",
        "share of root length steeper than the growth pattern, by more than angles may be off by",
    ),
    Column("tortuosity", float, "", "length-weighted mean of length / chord"),
    Column("flattened_share", float, "", "share of root length in flattened stretches"),
    Column("flattened_in_cracks", float, "", "share of the flattened length that lies in cracks"),
    Column("passage", float, "", "share of roots that get down the wall without turning or stopping"),
    Column("sideways_in", float, "in", "total length of sideways runs"),
    Column("sideways_flag", str, "", "yes when roots ran sideways at a layer, else no"),
    Column("grade", float, "0-100", "the wall's grade"),
    Column("grade_low", float, "0-100", "lower end of its 95 % interval"),
    Column("grade_high", float, "0-100", "upper end of its 95 % interval"),
    Column("verdict", str, "", "open, slowed, turned, stopped; two when the interval straddles an edge"),
    Column("seconds", float, "s", "time taken"),
)

ROOTS = (
    Column("wall", str, "", "name of the wall"),
    Column("root", str, "", "root id, unique in the wall"),
    Column("order", int, "", "0 from the crown, 1 its laterals, and so on"),
    Column("parent", str, "", "root it grows from; blank for order 0, and where it is not seen"),
    Column("base_x_in", float, "in", "x of the base"),
    Column("base_z_in", float, "in", "depth of the base"),
    Column("tip_x_in", float, "in", "x of the tip"),
    Column("tip_z_in", float, "in", "depth of the tip"),
    Column("length_in", float, "in", "length along the root"),
    Column("chord_in", float, "in", "straight distance from base to tip"),
    Column("tortuosity", float, "", "length / chord"),
    Column("descent_deg", float, "deg", "length-weighted mean descent"),
    Column("chord_descent_deg", float, "deg", "descent from base to tip"),
    Column("width_in", float, "in", "median visible width"),
    Column("flattened_share", float, "", "share of its length in flattened stretches"),
    Column("sideways_in", float, "in", "length of its sideways runs"),
    Column("confidence", float, "0-1", "chance that at least 70 % of this trace lies on one single root"),
    Column("width_se_in", float, "in", "standard error of the width"),
    Column("cut", str, "", "yes when the photo's edge or the scale object ends it, not its own tip"),
)

RUNS = (
    Column("wall", str, "", "name of the wall"),
    Column("root", str, "", "root id"),
    Column("depth_in", float, "in", "mean depth of the run"),
    Column("x_from_in", float, "in", "left end"),
    Column("x_to_in", float, "in", "right end"),
    Column("length_in", float, "in", "length along the root"),
)

LAYERS = (
    Column("wall", str, "", "name of the wall"),
    Column("depth_in", float, "in", "depth of the layer"),
    Column("depth_se_in", float, "in", "standard error of the depth"),
    Column("x_from_in", float, "in", "left end of where it was seen"),
    Column("x_to_in", float, "in", "right end of where it was seen"),
    Column("reached", int, "", "roots that reach the layer"),
    Column("crossed", int, "", "of these, roots that cross without turning or stopping"),
    Column("turned", int, "", "of these, roots that turned sideways"),
    Column("stopped", int, "", "of these, roots that ended there"),
    Column("sideways_in", float, "in", "root length run sideways at the layer"),
    Column("p_value", float, "", "chance of as strong a gathering if depths were random"),
    Column("recorded", str, "", "the field sheet's layer it matches, or unrecorded"),
    Column("shape", str, "", "level, sloped or stepped: how its depth goes along the wall"),
    Column("left_depth_in", float, "in", "depth at its left end"),
    Column("right_depth_in", float, "in", "depth at its right end"),
    Column("passage", float, "", "share of the roots that reach it which cross; blank where none does"),
    Column("passage_low", float, "", "low end of its 95 % interval (Wilson)"),
    Column("passage_high", float, "", "high end of it"),
)

FLATTENED = (
    Column("wall", str, "", "name of the wall"),
    Column("root", str, "", "root id"),
    Column("depth_in", float, "in", "mean depth of the flattened stretch"),
    Column("x_in", float, "in", "x of its middle"),
    Column("length_in", float, "in", "length along the root"),
    Column("in_crack", str, "", "yes when it was flattened in a crack, else no"),
    Column("crack_known_by", str, "", "seen: a dark line; upright: the root left its course to go upright"),
)

TABLES = {"walls": WALLS, "roots": ROOTS, "runs": RUNS, "layers": LAYERS, "flattened": FLATTENED}


def decimals(column: Column) -> int:
    """Digits after the point of a column's figures in a table."""
    return DECIMALS.get(column.unit, OF_A_RATIO)


def columns_markdown(columns: Iterable[Column]) -> str:
    """The columns of a table as `shared/columns.md` shows them."""
    rows = [f"| `{column.name}` | {column.unit} | {column.meaning} |" for column in columns]
    return "\n".join(["| column | unit | meaning |", "|---|---|---|", *rows])

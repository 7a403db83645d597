"""How the cells of each column are read."""

import re
from collections.abc import Callable, Sequence
from typing import Any, get_args

from rootread.errors import BadRequest, BadSheet
from rootread.fieldsheet.names import nearest
from rootread.fieldsheet.types import CaliperPair, LevelWord, RecordedLayer, ScaleWord
from rootread.text import is_showable, one_line
from rootread.units import length_in

# Scale objects whose one length may differ from the usual: marker side, band length, tick spacing.
SCALES_WITH_UNIT = ("card", "staff", "tape")
LONGEST_TEXT = 1000
LEAST_IN, MOST_IN = 1e-3, 1200.0
"""Lengths on walls lie between these."""
# Walls name files (pictures/WALL.jpg), so their names must do on every system.
LONGEST_NAME = 120
NOT_IN_A_NAME = set('/\\:*?"<>|')


def _text(cell: str) -> str:
    return one_line(cell, LONGEST_TEXT)


def _photo(cell: str) -> str:
    if "/" in cell or "\\" in cell:
        raise BadSheet(f"{cell!r} names a folder.", "Write the photo's file name only, beside the sheet.")
    return cell


def _wall(cell: str) -> str:
    if NOT_IN_A_NAME & set(cell) or cell.startswith(".") or not is_showable(cell):
        raise BadSheet(
            f"{cell!r} cannot name files.", 'Leave out / \\ : * ? " < > |, line breaks and a dot in front.'
        )
    if len(cell) > LONGEST_NAME:
        raise BadSheet(f"{cell!r} is too long for a name.", f"Keep to {LONGEST_NAME} characters.")
    return cell


def _scale(cell: str) -> dict[str, Any]:
    """``card``, or with its own marker side ``card:2.0``."""
    word, _, unit = (part.strip() for part in cell.partition(":"))
    scale = _word(get_args(ScaleWord))(word)
    if not unit:
        return {"scale": scale}
    if scale not in SCALES_WITH_UNIT:
        raise BadSheet(
            f"{scale} takes no length.",
            "Only card:2.0 in (marker), staff:1.0 in (band) and tape:0.125 in (tick) do.",
        )
    return {"scale": scale, "scale_unit_in": _above_zero(unit)}


def _word(known: Sequence[str]) -> Callable[[str], str]:
    def parse(cell: str) -> str:
        if cell.lower() not in known:
            raise BadSheet(
                f"{cell!r} is not known.", nearest(cell.lower(), known) or f"Known: {', '.join(known)}."
            )
        return cell.lower()

    return parse


def _layers(cell: str) -> tuple[RecordedLayer, ...]:
    """``disk 6.0; A/B 13.0 in; pan 15 cm``, in order of depth."""
    layers = [_layer(part.strip()) for part in cell.split(";") if part.strip()]
    return tuple(sorted(layers, key=lambda layer: layer.depth_in))


def _layer(text: str) -> RecordedLayer:
    """A name, then a depth. The shortest name that leaves a length, so that ``Bt1 13 1/2 in`` reads right."""
    words = text.split()
    for count in range(1, len(words)):
        try:
            depth_in = _above_zero(" ".join(words[count:]))
        except BadRequest:
            continue
        name = _AT.sub("", " ".join(words[:count]).rstrip(":=,"))
        if _TWO_LAYERS.search(name):
            break
        return RecordedLayer(name, depth_in)
    raise BadSheet(
        f"{text!r} is not a layer.",
        "Write a name and a depth for each, with semicolons between: disk 6 in; A/B 13 in.",
    )


_AT = re.compile(r"\s+(at|@)$", re.I)
"""Before a depth: ``disk at 6``."""
_TWO_LAYERS = re.compile(
    r"(\d\s*(in|ft|mm|cm|m|[\"”″'’′])?\s*,"
    r"|(^|\s)\d+([.,]\d+)?\s*(in|ft|mm|cm|m|[\"”″'’′])?\s*([/+&|]|and\b))\s*[^\W\d]",
    re.I,
)
"""A depth and then, after a comma or the like, another name: ``disk 6, A/B`` is no one layer's name."""


def _calipers(cell: str) -> tuple[CaliperPair, ...]:
    """``3.1 mm/2.0 mm at 7; 2.8 mm/1.1 mm``: wide and narrow, and the depth if it was noted."""
    return tuple(_pair(part.strip()) for part in cell.split(";") if part.strip())


def _pair(text: str) -> CaliperPair:
    found = _PAIR.fullmatch(_in_one_unit(text))
    if found is None:
        raise BadSheet(
            f"{text!r} is no pair.", "Write both ways across with / between: 3.1 mm/2.0 mm at 7 in."
        )
    minor, major = sorted(_above_zero(found[side].strip()) for side in ("one", "other"))
    depth = found["depth"]
    return CaliperPair(major, minor, None if depth is None else _above_zero(depth.strip()))


_PAIR = re.compile(
    r"(?P<one>[^/x×@]+)(?P<between>[/x×])(?P<other>[^/x×@]+?)((?P<at>\s+at\s+|\s*@)(?P<depth>.*))?", re.I
)
"""Both ways across a root, and the depth if it was noted."""
_BARE = re.compile(r"[\d.,\s]*")
"""A number without a unit."""


def calipers_in_one_unit(cell: str, bare_unit: str = "") -> str:
    """Pairs of which one side alone has a unit, with it at both: calipers are read in one.

    >>> calipers_in_one_unit("3.1/2.0 mm at 7; 0.12/0.08")
    '3.1 mm/2.0 mm at 7; 0.12/0.08'

    Parameters
    ----------
    bare_unit : of the side without a unit, where it is known to be another.
    """
    return ";".join(_in_one_unit(part, bare_unit) for part in cell.split(";"))


def _in_one_unit(text: str, bare_unit: str = "") -> str:
    found = _PAIR.fullmatch(text)
    bare = [name for name in ("one", "other") if found and _BARE.fullmatch(found[name])]
    if found is None or len(bare) != 1:
        return text
    (other,) = {"one", "other"} - set(bare)
    unit = bare_unit or _BARE.sub("", found[other], count=1).strip()
    end = found.start(bare[0]) + len(found[bare[0]].rstrip())
    return f"{text[:end]} {unit}{text[end:]}"


def _places(cell: str) -> tuple[float, ...]:
    try:
        return tuple(sorted(of_a_wall(part) for part in cell.split(";") if part.strip()))
    except BadSheet:
        raise
    except BadRequest as error:
        raise BadSheet(
            error.cause, "Write a number for each shank, with semicolons between: -22; 8."
        ) from error


def of_a_wall(cell: str) -> float:
    """Inches, of a thing that can be on a wall or in front of one."""
    inches = length_in(cell)
    if abs(inches) > MOST_IN:
        raise BadSheet(f"{cell!r} is longer than any wall.", "Check the number and its unit.")
    return inches


def _above_zero(cell: str) -> float:
    inches = of_a_wall(cell)
    if inches < LEAST_IN:
        raise BadSheet(f"{cell!r} is not above 0.", "Write depths and lengths as positive numbers.")
    return inches


def _not_negative(cell: str) -> float:
    inches = of_a_wall(cell)
    if inches < 0:
        raise BadSheet(f"{cell!r} is below 0.", "Write how far it stands in front of the wall.")
    return inches


BLANK = ("", "none", "n/a", "na", "nil", "-", "–", "—")
"""What people write where there is nothing to write."""
OF_WORDS = ("photo", "wall", "pit", "treatment", "date", "crop", "stage", "notes", "lens", "scale", "level")
"""Columns in which a word of these may be meant: a treatment may be ``none``."""


def is_blank(column: str, cell: str) -> bool:
    """Whether a cell says nothing: it is empty, or of a column of lengths and says that there is none."""
    return cell.lower() in BLANK and (not cell or column not in OF_WORDS)


# Every column of the sheet and how its cells are read, in the order of the blank sheet.
COLUMNS: dict[str, Callable[[str], Any]] = {
    "photo": _photo,
    "wall": _wall,
    "pit": _text,
    "treatment": _text,
    "date": _text,
    "crop": _text,
    "stage": _text,
    "scale": _scale,
    "layers": _layers,
    "tool_depth_in": _above_zero,
    "shank_spacing_in": _above_zero,
    "shanks_at_in": _places,
    "pit_depth_in": _above_zero,
    "notes": _text,
    "standoff_in": _not_negative,
    "level": _word(get_args(LevelWord)),
    "lens": _text,
    "calipers": _calipers,
}

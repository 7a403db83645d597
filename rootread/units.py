"""Lengths as people write them, to inches; and back to the unit that a person wants to see."""

import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Literal

from rootread.errors import BadRequest

MM_PER_IN, CM_PER_IN = 25.4, 2.54
_UNIT_NAMES = {
    1.0: ("in", "in.", "inch", "inches", '"', "”", "″", "''"),
    12.0: ("ft", "ft.", "foot", "feet", "'", "’", "′"),
    1 / MM_PER_IN: ("mm", "millimeter", "millimeters", "millimetre", "millimetres"),
    1 / CM_PER_IN: ("cm", "centimeter", "centimeters", "centimetre", "centimetres"),
    1 / 0.0254: ("m", "meter", "meters", "metre", "metres"),
}
INCHES_PER = {name: inches for inches, names in _UNIT_NAMES.items() for name in names}

_NUMBER = r"(?P<whole>\d+(?:[.,]\d*)?(?:e[+-]?\d+)?|[.,]\d+(?:e[+-]?\d+)?)"
_FRACTION = r"(?P<top>\d+)\s*/\s*(?P<bottom>\d+)"
_AMOUNT = re.compile(rf"(?:{_FRACTION}|{_NUMBER}(?:\s+(?P<top2>\d+)\s*/\s*(?P<bottom2>\d+))?)\s*", re.I)
_UNIT = re.compile(r"(?P<unit>''|[\"”″'’′]|[a-z]+\.?)?\s*", re.I)
# 1,000 is a thousand in one country and one in another; 0,125 can only be the latter.
THOUSAND_OR_ONE = re.compile(r"[1-9]\d{0,2},\d{3}(?!\d)")

_VULGAR = {"½": " 1/2", "¼": " 1/4", "¾": " 3/4", "⅛": " 1/8", "⅜": " 3/8", "⅝": " 5/8", "⅞": " 7/8"}
"""What spreadsheets and phones make of 1/2."""

LONGEST = 40
"""Letters of any sensible length; Python will not turn thousands of digits into a number."""
REMEDY = "Write a number with in, ft, mm, cm or m after it; a bare number is inches."


def length_in(text: str) -> float:
    """Inches of a length such as ``15 cm``, ``6"``, ``13 1/2 in``, ``1 ft 6 in``, ``-22``.

    A bare number is inches. A comma may stand for the decimal point.

    >>> length_in("13 1/2 in"), length_in("1 ft 6 in"), round(length_in("15 cm"), 2)
    (13.5, 18.0, 5.91)

    Raises
    ------
    BadRequest : not a length.
    """
    rest = "".join(_VULGAR.get(letter, letter) for letter in text).strip().lower()
    if len(rest) > LONGEST:
        raise BadRequest(f"{text!r} is too long for a length.", REMEDY)
    sign = 1.0
    if rest[:1] in ("-", "−", "+"):
        sign = 1.0 if rest[0] == "+" else -1.0
        rest = rest[1:].lstrip()
    if THOUSAND_OR_ONE.search(rest):
        raise BadRequest(f"{text!r} can be read two ways.", "Write the number without the comma.")
    terms: list[tuple[float, str | None]] = []
    while rest or not terms:
        amount = _AMOUNT.match(rest)
        if amount is None:
            raise BadRequest(f"{text!r} is not a length.", REMEDY)
        unit = _UNIT.match(rest, amount.end())
        assert unit is not None  # the pattern matches nothing, too
        terms.append((_value(amount, text), unit["unit"]))
        rest = rest[unit.end() :]
    return sign * _sum(terms, text)


def _value(amount: re.Match[str], text: str) -> float:
    whole = float(amount["whole"].replace(",", ".")) if amount["whole"] else 0.0
    top, bottom = amount["top"] or amount["top2"], amount["bottom"] or amount["bottom2"]
    if bottom is None:
        return whole
    if int(bottom) == 0 or (amount["whole"] and not amount["whole"].isdigit()):
        raise BadRequest(f"{text!r} is not a length.", REMEDY)
    return whole + int(top) / int(bottom)


def _sum(terms: list[tuple[float, str | None]], text: str) -> float:
    """One term in any unit, or feet and then inches."""
    for _, unit in terms:
        if unit is not None and unit not in INCHES_PER:
            raise BadRequest(f"{text!r}: {unit} is not a unit of length.", REMEDY)
    factors = [1.0 if unit is None else INCHES_PER[unit] for _, unit in terms]
    if len(terms) > 1 and factors != [12.0, 1.0]:
        raise BadRequest(f"{text!r} is more than one length.", REMEDY)
    inches = sum(value * factor for (value, _), factor in zip(terms, factors, strict=True))
    if not math.isfinite(inches):
        raise BadRequest(f"{text!r} is too large.", REMEDY)
    return inches


LengthUnit = Literal["in", "cm"]
"""What lengths may be shown in; inside, everything stays in inches."""
_shown: ContextVar[LengthUnit] = ContextVar("lengths shown in", default="in")


@contextmanager
def lengths_shown_in(unit: LengthUnit) -> Iterator[None]:
    """Sentences, axes and labels made within have their lengths in this unit."""
    before = _shown.set(unit)
    try:
        yield
    finally:
        _shown.reset(before)


def unit_shown() -> LengthUnit:
    """The unit that lengths are shown in now."""
    return _shown.get()


def unit_name(many: bool = False) -> str:
    """``inch`` or ``centimetre``, or many of them: the unit shown in full."""
    one, more = {"in": ("inch", "inches"), "cm": ("centimetre", "centimetres")}[unit_shown()]
    return more if many else one


def shown(length_in: float) -> float:
    """A length in the unit shown."""
    return length_in / INCHES_PER[unit_shown()]


def per_length_shown(per_in: float) -> float:
    """So much to the inch, as so much to the unit shown."""
    return per_in * INCHES_PER[unit_shown()]


def length_range(low_in: float, high_in: float, digits: int = 1, between: str = " to ") -> str:
    """``2.8 to 3.5``, in the unit shown; a dash where an end is not known."""
    if not (math.isfinite(low_in) and math.isfinite(high_in)):
        return "–"
    return f"{shown(low_in):.{digits}f}{between}{shown(high_in):.{digits}f}"


def length_words(length_in: float, digits: int = 1) -> str:
    """``6.8 in`` or ``17.3 cm``; a dash where there is no figure."""
    return f"{shown(length_in):.{digits}f} {unit_shown()}" if math.isfinite(length_in) else "–"


def side(x_in: float) -> str:
    """``5 in left``, ``34 in right`` or ``the middle``, of the scale object."""
    if round(abs(shown(x_in))) == 0:
        return "the middle"
    return f"{length_words(abs(x_in), 0)} {'left' if x_in < 0 else 'right'}"

"""Names compared as file systems compare them, and the nearest name to a misspelt one."""

import re
import unicodedata
from collections.abc import Iterable, Sequence
from difflib import get_close_matches


def plain(name: str) -> str:
    """A name as file systems that ignore case and spelling of accents compare it."""
    return unicodedata.normalize("NFC", name).casefold()


def folded(name: str) -> str:
    """A name without capitals, spaces, hyphens and underscores: what is left when it is said aloud.

    Numbers stay apart.

    >>> folded("Deep-Pass") == folded("deep  pass")
    True
    >>> folded("1-11") == folded("11-1")
    False
    """
    apart = re.sub(r"(?<=\d)[\s_-]+(?=\d)", "\N{MIDDLE DOT}", plain(name))
    return re.sub(r"[\s_-]+", "", apart)


def listing(names: Sequence[str], count: int = 0) -> str:
    """``a, b and c``, or ``a, b and 7 more`` where they are the first of ``count``."""
    last = f"{count - len(names)} more" if count > len(names) else names[-1]
    others = names if count > len(names) else names[:-1]
    return f"{', '.join(others)} and {last}" if others else last


def column_name(cell: str) -> str:
    """The name of a column however its words are parted.

    >>> column_name(" Tool-depth in")
    'tool_depth_in'
    """
    return "_".join(cell.strip().lower().replace("-", " ").replace("_", " ").split())


def nearest_column(word: str, known: Iterable[str]) -> str:
    """What to do about a column that is not known; where it names a unit of its own, how to write that."""
    asked = nearest(word, known) or f"Known: {', '.join(known)}."
    if not re.search(r"(_|^)(cm|mm|m|ft|mpa|kpa|bar)$", word):
        return asked
    return f"{asked} A unit stands in the cell, after the number: 15 cm, 1.4 MPa."


LONGEST_WORD = 60
"""Longer words are no misspelling of anything known, and comparing them takes long."""


def nearest(word: str, known: Iterable[str]) -> str:
    """``Did you mean ...?``, or nothing if nothing is near."""
    near = nearest_of(word, known)
    return f"Did you mean {near}?" if near else ""


def nearest_of(word: str, known: Iterable[str]) -> str:
    """The nearest of the known names, "" if none is near."""
    if len(word) > LONGEST_WORD:
        return ""
    return next(iter(get_close_matches(word, list(known), n=1, cutoff=0.6)), "")

"""Names of treatments and walls within a sentence."""

import unicodedata
from collections.abc import Sequence

from rootread.report.words import listing


def named(names: Sequence[str]) -> str:
    """Names one after the other, by semicolons where one holds a comma itself."""
    apart = [isolated(name) for name in names]
    return "; ".join(apart) if any("," in name for name in names) else listing(apart)


def isolated(name: str) -> str:
    """A name; one written from right to left is kept from turning round the figures beside it."""
    if any(unicodedata.bidirectional(letter) in ("R", "AL") for letter in name):
        return f"\N{FIRST STRONG ISOLATE}{name}\N{POP DIRECTIONAL ISOLATE}"
    return name

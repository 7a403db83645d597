"""Text that came from outside, made fit to be shown on one line."""

import unicodedata

DIRECTIONS = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
"""Characters that turn the direction of what follows: a name with them reads as another."""
UNSHOWN_CATEGORIES = ("Cc", "Cs", "Zl", "Zp")
"""Unicode's control characters, halves of characters, and breaks of line and paragraph."""


def is_showable(text: str) -> bool:
    """Whether text can be printed on one line as it stands, and written as UTF-8."""
    return not any(_is_unshown(character) for character in text)


def one_line(text: str, longest: int) -> str:
    """Text on one line without control characters; the middle is left out of what is too long.

    >>> one_line("disk\\n 6 in", 80)
    'disk 6 in'
    >>> one_line("a wall with a very long name, pit 3", 20)
    'a wall with ...pit 3'
    """
    line = " ".join("".join(" " if _is_unshown(c) else c for c in text).split())
    if len(line) <= longest:
        return line
    tail = longest // 4
    return f"{line[: longest - tail - 3]}...{line[-tail:]}"


def _is_unshown(character: str) -> bool:
    return character in DIRECTIONS or unicodedata.category(character) in UNSHOWN_CATEGORIES

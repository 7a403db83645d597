"""Docstrings of this project for the site's parser.

Here a parameter is one line, ``name : what it is``, its type being in the
signature; numpydoc has the type there and the words on the next line.
"""

import re
from typing import Any

import griffe

SECTION = re.compile(r"^(Parameters|Raises|Returns)\n-+\n", re.MULTILINE)
ENTRY = re.compile(r"^(\S[^:\n]*?) : ", re.MULTILINE)


class HouseStyle(griffe.Extension):
    """Rewrites each docstring before it is parsed."""

    def on_object(self, *, obj: griffe.Object, **_: Any) -> None:
        """Called once for every module, class, function and attribute."""
        if obj.docstring:
            obj.docstring.value = to_numpydoc(obj.docstring.value)


def to_numpydoc(text: str) -> str:
    """A docstring with the words of each entry on a line of their own."""
    head, *parts = SECTION.split(text)
    for name, body in zip(parts[::2], parts[1::2], strict=True):
        # A section ends at an empty line that is followed by a line set full left.
        entries, *rest = re.split(r"\n\n(?=\S)", body, maxsplit=1)
        if name == "Returns":
            head += f"**Returns** {entries}\n\n"
        else:
            between = "\n    " if name == "Raises" else " :\n    "
            head += f"{name}\n{'-' * len(name)}\n" + ENTRY.sub(rf"\1{between}", entries) + "\n\n"
        head += "\n\n".join(rest) + "\n\n" if rest else ""
    return head.rstrip()

"""Fonts of the pictures: the usual one for the program's own words, and for names whatever has their letters.

Pillow draws a text in one font alone, and few fonts have the letters of more
than one script. So a name is drawn piece by piece, each letter in the first
font that has it. Pieces follow one another from left to right.
"""

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from itertools import groupby
from pathlib import Path

from PIL import ImageDraw, ImageFont

from rootread.report.colours import RGB

OWN_FONTS = (
    "NotoSansCJK-Regular.ttc",
    "DroidSansFallbackFull.ttf",
    "PingFang.ttc",
    "Hiragino Sans GB.ttc",
    "AppleSDGothicNeo.ttc",
    "Arial Unicode.ttf",
    "msyh.ttc",
    "YuGothM.ttc",
    "malgun.ttf",
    "Nirmala.ttf",
    "LeelawUI.ttf",
    "ebrima.ttf",
    "NotoSansDevanagari-Regular.ttf",
    "NotoSansBengali-Regular.ttf",
    "NotoSansTamil-Regular.ttf",
    "NotoSansThai-Regular.ttf",
    "NotoSansEthiopic-Regular.ttf",
)
"""With letters of many scripts, as systems bring them; Pillow looks for them where systems keep fonts."""
STAND_IN = "?"
"""For a letter that no font has."""
_NO_LETTER = "\uffff"
_PROBE_PX = 24
_MARKS = ("Mn", "Mc", "Me", "Cf")
"""Of Unicode's kinds of character, those that are drawn with the letter before them."""


@dataclass(frozen=True)
class Face:
    """Letters of one size, for words that come from outside."""

    size: int
    bold: bool = False

    def getlength(self, text: str) -> float:
        """Width of a text in pixels."""
        return sum(face.getlength(piece) for piece, face in self._pieces(text))

    def write(
        self, draw: ImageDraw.ImageDraw, at: tuple[float, float], text: str, fill: RGB, anchor: str = "la"
    ) -> None:
        """Draw a text; ``anchor`` is Pillow's, its second letter ``a`` (ascender) or ``m`` (middle)."""
        ascent, descent = self._usual.getmetrics()
        # All pieces stand on the base line of the usual font.
        base = at[1] + (ascent if anchor[1] == "a" else (ascent - descent) / 2)
        x = at[0] - self.getlength(text) * {"l": 0.0, "m": 0.5, "r": 1.0}[anchor[0]]
        for piece, face in self._pieces(text):
            draw.text((x, base), piece, fill=fill, font=face, anchor="ls")
            x += face.getlength(piece)

    def _pieces(self, text: str) -> list[tuple[str, ImageFont.FreeTypeFont]]:
        """A text cut where its font changes."""
        pieces = []
        for name, letters in groupby(_with_fonts(text), key=lambda pair: pair[1]):
            piece = "".join(letter for letter, _ in letters)
            own = _own_font(name, self.size) if name else None
            pieces.append((piece if name is not None else STAND_IN * len(piece), own or self._usual))
        return pieces

    @property
    def _usual(self) -> ImageFont.FreeTypeFont:
        return font(self.size, self.bold)


@cache
def font(size_px: int, bold: bool = False) -> ImageFont.FreeTypeFont:
    """DejaVu Sans, which comes with matplotlib."""
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    # Found without importing it: that takes long, and makes a folder in the user's home.
    spec = find_spec("matplotlib")
    assert spec is not None and spec.origin is not None  # a requirement of the package
    return ImageFont.truetype(str(Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf" / name), size_px)


def cannot_be_drawn(names: Iterable[str]) -> list[str]:
    """Those of the names with a letter that no font on this machine has, each once."""
    return [name for name in dict.fromkeys(names) if any(own is None for _, own in _with_fonts(name))]


def _with_fonts(text: str) -> list[tuple[str, str | None]]:
    """Each letter, composed with its marks where it can be, and the font that is to draw it."""
    found: list[tuple[str, str | None]] = []
    for letter in unicodedata.normalize("NFC", text):
        is_mark = found and unicodedata.category(letter) in _MARKS
        found.append((letter, found[-1][1] if is_mark else _font_with(letter)))
    return found


@cache
def _font_with(letter: str) -> str | None:
    """The first font that has a letter: one of this machine's own, "" for the usual one, None for none."""
    if letter.isspace() or _has(font(_PROBE_PX), letter):
        return ""
    others = ((name, _own_font(name, _PROBE_PX)) for name in OWN_FONTS)
    return next((name for name, other in others if other is not None and _has(other, letter)), None)


@cache
def _own_font(name: str, size_px: int) -> ImageFont.FreeTypeFont | None:
    try:
        return ImageFont.truetype(name, size_px)
    except OSError:
        return None


def _has(face: ImageFont.FreeTypeFont, letter: str) -> bool:
    """Whether a letter is drawn as itself, not as the box that stands for what is missing."""
    # Letter by letter: in its other layout Pillow may draw one that is missing as two boxes (the Thai am).
    plain = face.font_variant(layout_engine=ImageFont.Layout.BASIC)
    return bytes(plain.getmask(letter)) != bytes(plain.getmask(_NO_LETTER))

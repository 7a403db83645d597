"""A page as PDF, laid out as a browser would print it."""

import io
import re
from pathlib import Path
from typing import Any

from rootread.errors import BadRequest
from rootread.units import LengthUnit

PAPER = {"in": "PAGE_SIZE_LETTER", "cm": "PAGE_SIZE_A4"}
"""Whoever reads in inches has Letter in the printer."""
FONTS = (
    ("Report Text", 400, "DejaVuSans.ttf"),
    ("Report Text", 700, "DejaVuSans-Bold.ttf"),
    ("Report Head", 700, "DejaVuSerif-Bold.ttf"),
)
"""Family, weight and file: fonts that come with matplotlib, so that a PDF is the same from every machine,
one without a screen and its fonts too."""
SCHEME = "font:"
PLACE = "file:///report.html"
"""Where the page is taken to lie, so that a link within it is known for one."""
LINK_BESIDE = re.compile(r'<a href="(?!#)[^"]*">')
"""A link to a file beside the page, which leads nowhere from a PDF that was handed on."""


def pdf_of(html: str, units: LengthUnit = "in") -> bytes:
    """A page that carries everything inside itself, as PDF on Letter or A4 paper.

    Raises
    ------
    BadRequest : the library that prints is not installed.
    """
    try:
        import plutoprint
    except ImportError as error:
        raise BadRequest(
            "A PDF needs plutoprint, which is not installed.",
            "Run: pip install 'rootread[pdf]', or print the page from a browser.",
        ) from error
    book = plutoprint.Book(getattr(plutoprint, PAPER[units]))
    book.custom_resource_fetcher = _only_fonts(plutoprint)
    # On paper nothing can be unfolded.
    unfolded = LINK_BESIDE.sub("<a>", html).replace("<details>", "<details open>")
    book.load_html(unfolded, user_style=_style(), base_url=PLACE)
    content = io.BytesIO()
    book.write_to_pdf_stream(content)
    return content.getvalue()


def _only_fonts(plutoprint: Any) -> Any:
    """Gives out the fonts and nothing else: no address in a page is followed."""
    # Imported here, since every run loads this module and few print.
    from matplotlib import get_data_path

    files = {SCHEME + file: Path(get_data_path()) / "fonts" / "ttf" / file for _, _, file in FONTS}

    class OnlyFonts(plutoprint.ResourceFetcher):  # type: ignore[misc]
        def fetch_url(self, url: str) -> Any:
            return plutoprint.ResourceData(files[url].read_bytes() if url in files else b"", "font/ttf")

    return OnlyFonts()


def _style() -> str:
    faces = [
        f'@font-face {{ font-family: "{family}"; font-weight: {weight}; src: url("{SCHEME}{file}"); }}'
        for family, weight, file in FONTS
    ]
    return "\n".join([*faces, ':root { --body: "Report Text"; --head: "Report Head"; }'])

"""Result folders in, contrast with its page and table out."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from rootread.compare.contrast import SEED, Contrast, contrast_walls, records_of
from rootread.compare.depths import depth_profiles
from rootread.compare.measures import DEFAULT
from rootread.compare.page import contrast_page
from rootread.compare.read import read_table
from rootread.compare.table import contrast_csv
from rootread.report.pdf import pdf_of
from rootread.store import place, write_bytes
from rootread.units import LengthUnit, lengths_shown_in

PAGE = "contrast.html"


def page_there(out: str | Path) -> bytes:
    """The page of an earlier contrast in a folder; nothing where there is none."""
    page = place(out) / PAGE
    return page.read_bytes() if page.is_file() else b""


def contrast_folders(
    folders: Sequence[str | Path],
    out: str | Path,
    by: str = "treatment",
    pair: str = "pit",
    measures: Sequence[str] = (),
    units: LengthUnit = "in",
    pdf: bool = False,
) -> tuple[Contrast, Path]:
    """Compare the treatments of graded folders; write ``contrast.html`` and ``contrast.csv`` into ``out``.

    Returns
    -------
    The contrast, and where its page is. Without ``measures`` the usual ones are compared.

    Raises
    ------
    BadRequest : a folder was not graded, a name is not known, or there are not two treatments.
    """
    # A folder named twice is one folder: its pits must not count twice.
    found, target = list(dict.fromkeys(place(folder) for folder in folders)), place(out)
    walls, roots = read_table(found, "walls"), read_table(found, "roots")
    contrast = contrast_walls(walls, by, pair, measures or DEFAULT, roots)
    profiles = depth_profiles(records_of(walls), found, by, pair, np.random.default_rng(SEED))
    with lengths_shown_in(units):
        html = contrast_page(contrast, profiles)
    page = target / PAGE
    write_bytes(page, html.encode("utf-8"))
    write_bytes(target / "contrast.csv", contrast_csv(contrast).encode("utf-8"))
    if pdf:
        write_bytes(target / "contrast.pdf", pdf_of(html, units))
    return contrast, page

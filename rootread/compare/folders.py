"""Result folders in, contrast with its page and table out."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from rootread.batch.files import write_bytes
from rootread.compare.contrast import SEED, Contrast, contrast_walls, records_of
from rootread.compare.depths import depth_profiles
from rootread.compare.measures import DEFAULT
from rootread.compare.page import contrast_csv, contrast_page
from rootread.compare.read import read_table


def contrast_folders(
    folders: Sequence[Path],
    out: Path,
    by: str = "treatment",
    pair: str = "pit",
    measures: Sequence[str] = (),
) -> tuple[Contrast, Path]:
    """Compare the treatments of graded folders; write ``contrast.html`` and ``contrast.csv`` into ``out``.

    Returns
    -------
    The contrast, and where its page is. Without ``measures`` the usual ones are compared.

    Raises
    ------
    BadRequest : a folder was not graded, a name is not known, or there are not two treatments.
    """
    walls, roots = read_table(folders, "walls"), read_table(folders, "roots")
    contrast = contrast_walls(walls, by, pair, measures or DEFAULT, roots)
    profiles = depth_profiles(records_of(walls), folders, by, pair, np.random.default_rng(SEED))
    page = out / "contrast.html"
    write_bytes(page, contrast_page(contrast, profiles).encode("utf-8"))
    write_bytes(out / "contrast.csv", contrast_csv(contrast).encode("utf-8"))
    return contrast, page

"""Compare treatments over many walls; the pit is the unit, never the root."""

from rootread.compare.contrast import Contrast, Pair, contrast_walls
from rootread.compare.depths import depth_profiles
from rootread.compare.folders import contrast_folders, page_there
from rootread.compare.page import contrast_page
from rootread.compare.read import read_table
from rootread.compare.season import Season, read_season, write_season
from rootread.compare.table import contrast_csv, contrast_table
from rootread.compare.words import contrast_text, grade_words

__all__ = [
    "Contrast",
    "Pair",
    "Season",
    "contrast_csv",
    "contrast_folders",
    "contrast_page",
    "contrast_table",
    "contrast_text",
    "contrast_walls",
    "depth_profiles",
    "grade_words",
    "page_there",
    "read_season",
    "read_table",
    "write_season",
]

"""The field sheet: what a person wrote down about each photo.

``sheet.csv`` lies beside the photos, one row a photo, filled in with a
spreadsheet. Blank cells and missing columns are allowed, except for ``photo``.
"""

from rootread.fieldsheet.alike import Alike, alike_names
from rootread.fieldsheet.cells import COLUMNS
from rootread.fieldsheet.cone import CONE_NAME, cone_of, told_of_strangers
from rootread.fieldsheet.crops import crop_key, is_corn
from rootread.fieldsheet.depths import depths_asked, without_doubtful_tool
from rootread.fieldsheet.match import Matched, match_photos
from rootread.fieldsheet.places import places_asked, told_of_places
from rootread.fieldsheet.read import read_sheet, sheet_cells
from rootread.fieldsheet.types import (
    CaliperPair,
    ConeReading,
    LevelWord,
    RecordedLayer,
    ScaleWord,
    SheetRow,
    default_row,
)

__all__ = [
    "COLUMNS",
    "CONE_NAME",
    "Alike",
    "CaliperPair",
    "ConeReading",
    "LevelWord",
    "Matched",
    "RecordedLayer",
    "ScaleWord",
    "SheetRow",
    "alike_names",
    "cone_of",
    "crop_key",
    "default_row",
    "depths_asked",
    "is_corn",
    "match_photos",
    "places_asked",
    "read_sheet",
    "sheet_cells",
    "told_of_places",
    "told_of_strangers",
    "without_doubtful_tool",
]

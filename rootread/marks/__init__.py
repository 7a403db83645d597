"""What a person drew on a photo: ``marks/WALL.json`` beside the photos.

Every place is a pixel of the upright photo, (column, row), pixel centres at
whole numbers. The file's keys are the field names of ``Marks``; a key may be
left out. Marks win over detection.

    {"version": 1,
     "photo_size_px": [4000, 3000],
     "scale_points": [{"px": [1810.5, 402]}, {"px": [1822, 2210]}], "distance_in": 36,
     "plumb_px": [[2100, 500], [2098, 1900]],
     "surface_px": [[0, 310], [2000, 298], [3999, 322]],
     "outline_px": [[90, 300], [3900, 310], [3880, 2900], [120, 2890]],
     "roots_added": [{"points_px": [[700, 400], [760, 520]], "width_px": 9}],
     "roots_struck_px": [[[1500, 800], [1540, 910]]],
     "splits_px": [[1220, 1310]],
     "joins_px": [[[800, 1500], [860, 1540]]],
     "flattened_px": [[[2100, 1400], [2160, 1410]]],
     "not_flattened_px": [[[900, 1200], [930, 1260]]],
     "layers": [{"name": "disk", "line_px": [[300, 1480], [3700, 1470]]}],
     "layers_struck_px": [[[300, 2080], [3700, 2070]]],
     "strokes": [{"says": "soil", "points_px": [[300, 900], [420, 905]], "width_px": 20}],
     "loosened_floor_px": [[0, 1500], [3999, 1480]],
     "checked": "111 roots, 594 in, 1 layer, grade 61"}
"""

from rootread.marks.read import marks_from, marks_path, marks_values, read_marks, write_marks
from rootread.marks.types import (
    LONGEST_TEXT,
    LayerMark,
    Line,
    Marks,
    Place,
    RootMark,
    ScaleMark,
    Stroke,
)

__all__ = [
    "LONGEST_TEXT",
    "LayerMark",
    "Line",
    "Marks",
    "Place",
    "RootMark",
    "ScaleMark",
    "Stroke",
    "marks_from",
    "marks_path",
    "marks_values",
    "read_marks",
    "write_marks",
]

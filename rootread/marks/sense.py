"""Whether marks, each well-formed, make sense together and on their photo."""

from rootread.errors import BadMarks
from rootread.marks.painted import check_painted
from rootread.marks.types import Line, Marks

LARGEST_PX = 50_000
"""Longest side of a photo whose size is not known."""
LARGEST_IN = 2000.0
"""No wall is longer, nor any distance on one."""
REMEDY = "Mend it or draw the marks again."


def check_sense(marks: Marks, file: str, photo_size_px: tuple[int, int] | None = None) -> None:
    """Refuse what single values cannot show: how many points, where, and whether they say anything.

    Raises
    ------
    BadMarks : something in the marks makes no sense; ``file`` says in errors where they came from.
    """
    lines = _lines(marks)
    for where, line, least, may_be_absent in lines:
        if len(line) < least and (line or not may_be_absent):
            raise BadMarks(f"{file}: {where} has {len(line)} points, but needs {least} or more.", REMEDY)
    size_px = photo_size_px or marks.photo_size_px or (LARGEST_PX, LARGEST_PX)
    for where, line in marked_places(marks):
        # A line may run on over the picture's edge, by no more than the picture itself.
        if any(
            not -side <= at <= 2 * side for place in line for at, side in zip(place, size_px, strict=True)
        ):
            raise BadMarks(f"{file}: {where} lies far outside the photo.", "Draw it again on this photo.")
    pairs = [("plumb_px", marks.plumb_px), *((f"joins_px[{k}]", two) for k, two in enumerate(marks.joins_px))]
    for where, pair in pairs:
        if pair and (len(pair) != 2 or pair[0] == pair[1]):
            raise BadMarks(f"{file}: {where} has {len(pair)} points, but needs two apart.", REMEDY)
    widths = [
        *((f"roots_added[{k}]", root.width_px) for k, root in enumerate(marks.roots_added)),
        *((f"strokes[{k}]", stroke.width_px) for k, stroke in enumerate(marks.strokes)),
    ]
    for where, width_px in widths:
        if width_px is not None and not 0 < width_px <= max(size_px):
            raise BadMarks(
                f"{file}: {where} has a width of {width_px:g} pixels.",
                "Give one above 0 and within the photo.",
            )
    check_painted(marks.strokes, size_px, file)
    _check_scale(marks, file)


def marked_places(marks: Marks) -> list[tuple[str, Line]]:
    """The places of every mark, each line or set of them with its name in the file."""
    scattered = [("splits_px", marks.splits_px), ("scale_points", tuple(at.px for at in marks.scale_points))]
    return [*((where, line) for where, line, _, _ in _lines(marks)), *scattered]


def _lines(marks: Marks) -> list[tuple[str, Line, int, bool]]:
    """Every line with its name in the file, the points it needs, and whether it may be absent."""
    return [
        ("plumb_px", marks.plumb_px, 2, True),
        ("surface_px", marks.surface_px, 2, True),
        ("outline_px", marks.outline_px, 3, True),
        ("loosened_floor_px", marks.loosened_floor_px, 2, True),
        *((f"roots_added[{k}]", root.points_px, 2, False) for k, root in enumerate(marks.roots_added)),
        *((f"roots_struck_px[{k}]", line, 1, False) for k, line in enumerate(marks.roots_struck_px)),
        *((f"joins_px[{k}]", line, 2, False) for k, line in enumerate(marks.joins_px)),
        *((f"flattened_px[{k}]", line, 2, False) for k, line in enumerate(marks.flattened_px)),
        *((f"not_flattened_px[{k}]", line, 2, False) for k, line in enumerate(marks.not_flattened_px)),
        *((f"layers_struck_px[{k}]", line, 1, False) for k, line in enumerate(marks.layers_struck_px)),
        *((f"layers[{k}]", layer.line_px, 2, False) for k, layer in enumerate(marks.layers)),
        *((f"strokes[{k}]", stroke.points_px, 1, False) for k, stroke in enumerate(marks.strokes)),
    ]


def _check_scale(marks: Marks, file: str) -> None:
    points = marks.scale_points
    known = [point.at_in for point in points if point.at_in is not None]
    distances = [abs(at) for place in known for at in place] + [marks.distance_in or 0.0]
    if max(distances) > LARGEST_IN:
        raise BadMarks(f"{file}: a distance of {max(distances):g} inches is no wall's.", "Give it in inches.")
    if len(points) == 0 and marks.distance_in is None:
        return
    if len(points) == 2 and not known and marks.distance_in is not None:
        if marks.distance_in <= 0 or points[0].px == points[1].px:
            raise BadMarks(f"{file}: the two scale points or their distance fall together.", REMEDY)
        return
    if len(points) == 4 and len(known) == 4 and marks.distance_in is None:
        if not _same_quadrilateral(tuple(point.px for point in points), tuple(known)):
            raise BadMarks(
                f"{file}: the four scale points lie on a line, cross over, or run round the other way "
                "in the photo than on the wall.",
                "Mark them in order around the rectangle: top left, top right, bottom right, bottom left.",
            )
        return
    raise BadMarks(
        f"{file}: {len(points)} scale points, {len(known)} of them with at_in, "
        f"{'no ' if marks.distance_in is None else 'a '}distance_in.",
        "Give two points and distance_in, or four points that each have at_in.",
    )


def _same_quadrilateral(in_photo: Line, on_wall: Line) -> bool:
    """Whether every corner turns the same way, in the photo and on the wall alike."""
    turns = set()
    for corners in (in_photo, on_wall):
        for k in range(4):
            (x0, y0), (x1, y1), (x2, y2) = (corners[(k + step) % 4] for step in range(3))
            cross = (x1 - x0) * (y2 - y1) - (y1 - y0) * (x2 - x1)
            turns.add((cross > 0) - (cross < 0))
    return len(turns) == 1 and 0 not in turns

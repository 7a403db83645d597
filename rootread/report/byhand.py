"""What a person did to a reading, in words."""

from rootread.marks import Marks
from rootread.report.words import count, listing


def hand_figures(marks: Marks) -> list[tuple[str, str]]:
    """Whether a person looked at the reading, and what they changed in it."""
    mended = _mended(marks)
    looked = [("checked by eye", "yes" if marks.checked else "no")]
    return [*looked, ("mended by hand", listing(mended))] if mended else looked


def _mended(marks: Marks) -> list[str]:
    once = [
        ("scale", marks.scale_points),
        ("plumb", marks.plumb_px),
        ("soil surface", marks.surface_px),
        ("outline", marks.outline_px),
        ("floor of the loosened soil", marks.loosened_floor_px),
    ]
    often = [
        ("root struck", "roots struck", marks.roots_struck_px),
        ("root drawn", "roots drawn", marks.roots_added),
        ("root parted", "roots parted", marks.splits_px),
        ("pair of roots joined", "pairs of roots joined", marks.joins_px),
        ("stretch flattened", "stretches flattened", marks.flattened_px),
        ("stretch not flattened", "stretches not flattened", marks.not_flattened_px),
        ("layer drawn", "layers drawn", marks.layers),
        ("layer struck", "layers struck", marks.layers_struck_px),
        ("stroke painted", "strokes painted", marks.strokes),
    ]
    counted = [count(len(drawn), one, many) for one, many, drawn in often if drawn]
    return [*[word for word, drawn in once if drawn], *counted]

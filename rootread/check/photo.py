"""The whole check of one photo, in the order a person would put things right."""

import math
import time
from collections.abc import Sequence
from pathlib import Path

from rootread.check.light import exposure, shadow_edges
from rootread.check.sharpness import pixels_per_mm, sharpness
from rootread.check.types import Finding, PhotoCheck, State
from rootread.errors import BadMarks, BadSheet, RootreadError, WallRefused
from rootread.fieldsheet import Alike, SheetRow, depths_asked, places_asked
from rootread.fieldsheet.alike import REMEDY
from rootread.fieldsheet.depths import REMEDY as DEPTHS_REMEDY
from rootread.marks import Marks, read_marks
from rootread.photo import read_photo
from rootread.plane import WallImage, WallPlane, find_plane, lay_flat
from rootread.settings import Settings
from rootread.units import length_words, lengths_shown_in, per_length_shown, unit_name

SCALE_SE_LOOK = 0.0075
"""Standard error of the scale, as a share of it; twice as much is refused."""
TILT_LOOK_DEG, TILT_BAD_DEG = 15.0, 25.0
SURFACE_SE_LOOK_IN = 0.5


def check_photo(
    photo: Path,
    row: SheetRow,
    marks: Marks | Path | None = None,
    settings: Settings | None = None,
    alike: Sequence[Alike] = (),
) -> PhotoCheck:
    """Whether a photo can be read, and what to do if not; takes about two seconds.

    Nothing is raised for a photo, a lens profile or a file of marks that cannot be read: that is a finding.

    Parameters
    ----------
    photo : its file.
    row : its row of the field sheet.
    marks : what a person drew on it, or the file that says so.
    settings : defaults when left out.
    alike : names of pits and treatments, among the rows of all photos, that may have been meant to be one.
    """
    started = time.perf_counter()
    settings = settings or Settings()
    with lengths_shown_in(settings.report.units):
        findings = [*_findings(photo, row, marks, settings), *_names(row, alike)]
    return PhotoCheck(photo.name, row.wall, tuple(findings), time.perf_counter() - started)


def _findings(photo: Path, row: SheetRow, marks: Marks | Path | None, settings: Settings) -> list[Finding]:
    """On the photo first, then on its row of the sheet."""
    try:
        taken = read_photo(photo, settings.photo)
    except WallRefused as error:
        return _unread("photo", error, photo, row)
    try:
        drawn = read_marks(marks, taken.size_px) if isinstance(marks, Path) else marks
        plane = find_plane(taken, row, drawn, settings.plane)
    except BadMarks as error:
        return _unread("marks", error, photo, row)
    except BadSheet as error:
        return _unread("lens", error, photo, row)
    except WallRefused as error:
        return _unread("scale", error, photo, row)
    image = lay_flat(taken, plane, settings.plane)
    asked = depths_asked(row, image.deepest_in, plane.surface.se_in)
    return [*_of_wall(plane, image), _sheet(row), *_depths(asked), *_places(row, image.across_in)]


def _unread(question: str, error: RootreadError, photo: Path, row: SheetRow) -> list[Finding]:
    """Why the photo cannot be read, and what can be asked of its row all the same."""
    refused = Finding(question, "bad", error.cause_beside(photo.name), error.remedy)
    return [refused, _sheet(row), *_depths(depths_asked(row, None)), *_places(row, None)]


def _of_wall(plane: WallPlane, image: WallImage) -> list[Finding]:
    findings = [
        _scale(plane),
        pixels_per_mm(plane.scale.px_per_in),
        sharpness(image),
        exposure(image),
        shadow_edges(image),
        _tilt(plane),
        _surface(plane),
    ]
    return findings + [Finding("caution", "look", caution) for caution in plane.cautions]


def _sheet(row: SheetRow) -> Finding:
    """What the sheet says of the photo, while it can still be looked up in the pit."""
    if row.row is None:
        return Finding("sheet", "good", "no row in a sheet; none is needed")
    cells = {
        "pit": row.pit,
        "treatment": row.treatment,
        "layers": row.layers,
        "tool_depth_in": row.tool_depth_in,
    }
    blank = [name for name, cell in cells.items() if not cell]
    if blank == ["layers"]:
        # A wall need not have any, and nothing else depends on them: layers are found without.
        return Finding("sheet", "good", f"row {row.row}: {row.pit}, {row.treatment}; no layers written down")
    if not blank:
        return Finding("sheet", "good", f"row {row.row}: {row.pit}, {row.treatment}")
    remedy = "Write them down while you stand at the pit; leave blank only what there is not."
    return Finding("sheet", "look", f"row {row.row} leaves blank: {', '.join(blank)}", remedy)


def _depths(asked: str) -> list[Finding]:
    return [Finding("depths", "look", asked, DEPTHS_REMEDY)] if asked else []


def _places(row: SheetRow, across_in: tuple[float, float] | None) -> list[Finding]:
    return [Finding("places", "look", asked, remedy) for asked, remedy in places_asked(row, across_in)]


def _names(row: SheetRow, alike: Sequence[Alike]) -> list[Finding]:
    """Whether the row's pit or treatment is written otherwise in another row."""
    return [
        Finding(names.column, "look", names.words, REMEDY)
        for names in alike
        if getattr(row, names.column) in names.names
    ]


def _scale(plane: WallPlane) -> Finding:
    # What a figure is "sure to" holds 95 times in 100: two standard errors, as everywhere in the report.
    share = plane.scale.px_per_in_se / plane.scale.px_per_in
    pixels = f"{per_length_shown(plane.scale.px_per_in):.1f} pixels per {unit_name()}"
    seen = f"{plane.scale.kind} found, {pixels}, sure to {100 * 2 * share:.1f} %"
    if share < SCALE_SE_LOOK:
        return Finding("scale", "good", seen)
    remedy = "Wipe the scale object, press it flush on the wall, and show all of it."
    return Finding("scale", "look", seen, remedy)


def _tilt(plane: WallPlane) -> Finding:
    if math.isnan(plane.tilt_deg):
        return Finding("tilt", "good", "this scale object cannot tell")
    tilt = f"{plane.tilt_deg:.0f}"
    seen = f"camera {tilt} {'degree' if tilt == '1' else 'degrees'} off square"
    if plane.tilt_deg <= TILT_LOOK_DEG:
        return Finding("tilt", "good", seen)
    state: State = "bad" if plane.tilt_deg > TILT_BAD_DEG else "look"
    return Finding("tilt", state, seen, "Stand in front of the middle of the wall, at its middle height.")


def _surface(plane: WallPlane) -> Finding:
    if plane.surface.source == "assumed":
        remedy = "Show the soil surface along the whole top, or draw it (rootread desk, tool Surface)."
        return Finding("surface", "look", "soil surface not found; depths are a guess", remedy)
    seen = f"soil surface found, sure to {length_words(2 * plane.surface.se_in)}"
    if plane.surface.se_in <= SURFACE_SE_LOOK_IN:
        return Finding("surface", "good", seen)
    return Finding(
        "surface", "look", seen, "Clear residue from the edge, or draw it (rootread desk, tool Surface)."
    )

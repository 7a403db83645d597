"""From a photo to its wall plane: scale object, level and soil surface, each with its uncertainty."""

from dataclasses import replace
from typing import Literal

import numpy as np

from rootread.errors import NoBelievableScale
from rootread.fieldsheet import SheetRow
from rootread.geometry import Points, apply_homography
from rootread.marks import Marks
from rootread.photo import Photo
from rootread.plane.adjust import residuals_px
from rootread.plane.camera import LOG_FOCAL, SHIFT, CameraBelief, CameraFit
from rootread.plane.lens import lens_for
from rootread.plane.level import Witness, card_says, marked, photo_says, staff_says, surface_says, weigh
from rootread.plane.marked import check_marked_places
from rootread.plane.reach import fine_enough, local_px_per_in, photo_places
from rootread.plane.ruled import SIDE_SE_PX
from rootread.plane.scale import Located, find_scale, px_per_in_at
from rootread.plane.sightings import Floats
from rootread.plane.surface import GroundLine, find_ground_line
from rootread.plane.types import ScaleFinding, ScaleKind, Surface, WallPlane
from rootread.settings import PlaneSettings
from rootread.units import length_words

# A ground line with less evidence than this is not taken for the surface.
MIN_SURFACE_EVIDENCE = 0.3
# The rise of the ground along the line is known no better than this, for its waves.
SLOPE_SE_DEG = 0.5
# A surface taken as the photo's upper edge, or known by marks.
ASSUMED_SURFACE_SE_IN = 2.0
MARKED_SURFACE_SE_IN = 0.1
# A surface less certain than this is worth a word.
TOLD_SURFACE_SE_IN = 0.3
# A root of 1 mm is less than half a pixel below this; nothing finer than a thumb shows.
FEWEST_PX_PER_IN = 10.0
# A larger wall than 150 square feet is not read at once: roots are sought at no less than 44 pixels an inch,
# which would take over 10 s and 2 GB.
LARGEST_WALL_IN2 = 150 * 144.0
# Two standard errors of an accepted scale are within 3 %.
MAX_SE_SHARE = 0.015
# Beyond this tilt the far side of the wall is seen too coarsely.
TOLD_TILT_DEG = 25.0
# A card that is turned further does not hang.
ON_ITS_SIDE_DEG = 45.0
# The part of the photo over which the scale's error is stated, shares of width and height.
STATED_OVER = (np.linspace(0.2, 0.8, 7), np.linspace(0.3, 0.9, 7))
# What one radial term and a flat card leave out; a scale is never surer than this.
MODEL_SE_SHARE = 3e-4

Extent = tuple[float, float, float, float]
"""x and z of the upper left and of the lower right corner, inches."""


def locate_scale(photo: Photo, row: SheetRow | None, marks: Marks | None) -> Located:
    """The scale object, for a caller that lays several planes on one photo.

    Raises
    ------
    NoBelievableScale : as ``find_plane``.
    """
    return find_scale(
        photo, row, marks, CameraBelief.of_photo(photo.size_px, photo.focal_px, lens_for(photo, row))
    )


def find_plane(
    photo: Photo,
    row: SheetRow | None,
    marks: Marks | None,
    settings: PlaneSettings,
    located: Located | None = None,
) -> WallPlane:
    """Find scale, level and soil surface of a wall.

    Parameters
    ----------
    photo : the photo.
    row : its row of the field sheet; None looks for any scale object.
    marks : what a person drew; scale points and surface line win over detection.
    settings : level and resolution.
    located : what ``locate_scale`` gave for the same photo, row and marks; None looks for it.

    Raises
    ------
    NoBelievableScale : no scale object holds up; says why and what to do.
    BadSheet : the sheet names a lens profile that is not there.
    BadMarks : what is marked cannot be on this wall.
    """
    located = located or locate_scale(photo, row, marks)
    standoff_in = (row.standoff_in or 0.0) if row is not None else 0.0
    fit = behind(located.fit, standoff_in)
    # Before the wall is looked at: by a scale that is far off it would be hundreds of feet wide.
    scale = _finding(located, fit, photo.size_px)
    _check_fine_enough(scale)
    _check_sure_enough(scale)

    check_marked_places(marks, fit.to_plane, scale.px_per_in)

    upright = photo_says(fit).down_deg
    extent_in = _extent(fit, upright, photo.size_px)
    _check_not_too_large(scale.kind, extent_in)
    drawn = _drawn(marks, fit, upright)
    ground = _ground(photo, located, fit, upright, extent_in) if drawn is None else None
    witnesses = _witnesses(located.kind, fit)
    line = drawn if ground is None else ground.line_in
    if line is not None:
        # Were the ground level, gravity would be turned to the left by what falls to the right.
        witnesses.append(surface_says(upright - _slope_deg(line), SLOPE_SE_DEG))
        line = apply_homography(_turned(upright), line)
    told = (row.level if row is not None else None) or settings.level
    down_deg, level = (
        marked(fit, marks.plumb_px) if marks is not None and marks.plumb_px else weigh(witnesses, told)
    )
    level = replace(level, se_deg=float(np.hypot(level.se_deg, _turn_se_deg(fit, photo.size_px))))

    surface, to_object = _level_frame(line, down_deg, fit, photo.size_px)
    source: Literal["photo", "marks", "assumed"] = "marks" if drawn is not None else "photo"
    surface_se_in = MARKED_SURFACE_SE_IN if ground is None else ground.se_in
    if line is None:
        source, surface_se_in = "assumed", ASSUMED_SURFACE_SE_IN
    return WallPlane(
        to_photo=fit.homography @ to_object,
        lens=fit.lens,
        scale=scale,
        level=level,
        surface=Surface(surface, surface_se_in, source),
        # Two marked points say nothing of the tilt.
        tilt_deg=fit.tilt_deg if len(fit.used) > 4 else float("nan"),
        tilt_se_deg=fit.tilt_se_deg if len(fit.used) > 4 else float("nan"),
        cautions=(
            *located.cautions,
            *_turned_photo(located.kind, upright),
            *_cautions(source, surface_se_in, fit.tilt_deg),
        ),
    )


def behind(fit: CameraFit, standoff_in: float) -> CameraFit:
    """The wall's plane: that of the object moved away from the camera by the object's standoff."""
    if standoff_in == 0.0:
        return fit
    away = fit.rotation[:, 2] * np.sign(fit.rotation[:, 2] @ fit.shift_in)
    values = fit.values.copy()
    values[SHIFT] += standoff_in * away / [1.0, 1.0, np.exp(values[LOG_FOCAL])]
    return replace(fit, values=values)


def _witnesses(kind: ScaleKind, fit: CameraFit) -> list[Witness]:
    """What scale object and photo say of the plumb line."""
    photo = photo_says(fit)
    if kind == "card" and abs(photo.down_deg) < 20.0:
        return [card_says(), photo]
    if kind == "staff":
        return [staff_says(), photo]
    return [photo]


def _turned(down_deg: float) -> Floats:
    """``(3, 3)`` from level inches about the object's centre to the object's own inches."""
    angle = np.radians(down_deg)
    return np.array([[np.cos(angle), np.sin(angle), 0], [-np.sin(angle), np.cos(angle), 0], [0, 0, 1.0]])


def _slope_deg(line_in: Points) -> float:
    """Angle by which a line falls to the right."""
    return float(np.degrees(np.arctan(np.polyfit(line_in[:, 0], line_in[:, 1], 1)[0])))


def _drawn(marks: Marks | None, fit: CameraFit, upright: float) -> Points | None:
    """The surface line that was marked, in inches about the object's centre, in the photo's upright."""
    if marks is None or not marks.surface_px:
        return None
    return apply_homography(np.linalg.inv(_turned(upright)), fit.to_plane(np.array(marks.surface_px)))


def _extent(fit: CameraFit, upright: float, size_px: tuple[int, int]) -> Extent:
    """What the photo shows well enough, inches about the object's centre, turned to the photo's upright."""
    photo_px = photo_places(size_px, 9, 9)
    seen = apply_homography(np.linalg.inv(_turned(upright)), fit.to_plane(photo_px))
    seen = seen[fine_enough(local_px_per_in(fit.to_plane, photo_px))]
    # Corners of a tilted view reach far out; a few of them are let go.
    (x0, z0), (x1, z1) = np.percentile(seen, 2, axis=0), np.percentile(seen, 98, axis=0)
    return float(x0), float(z0), float(x1), float(z1)


def _ground(
    photo: Photo, located: Located, fit: CameraFit, upright: float, extent_in: Extent
) -> GroundLine | None:
    """The ground line in inches about the object's centre, turned to the photo's upright."""
    to_object = _turned(upright)
    to_level = np.linalg.inv(to_object)
    hidden = [apply_homography(to_level, fit.to_plane(outline)) for outline in located.outlines_px]
    found = find_ground_line(photo.rgb, fit.homography @ to_object, fit.lens, extent_in, hidden)
    return found if found is not None and found.evidence >= MIN_SURFACE_EVIDENCE else None


def _level_frame(
    line: Points | None, down_deg: float, fit: CameraFit, size_px: tuple[int, int]
) -> tuple[Points, Floats]:
    """The surface line in wall inches, and ``(3, 3)`` wall to object inches.

    The wall's z is plumb and 0 at the mean of the surface line; its x is 0 at
    the object's centre. Without a line, the photo's upper edge stands for it.
    """
    if line is None:
        line = fit.to_plane(np.column_stack([np.linspace(0, size_px[0] - 1, 9), np.zeros(9)]))
    to_object = _turned(down_deg)
    surface = apply_homography(np.linalg.inv(to_object), line)
    surface = surface[np.argsort(surface[:, 0])]
    mean_in = float(np.trapezoid(surface[:, 1], surface[:, 0]) / np.ptp(surface[:, 0]))
    return surface - [0.0, mean_in], to_object @ np.array([[1, 0, 0], [0, 1, mean_in], [0, 0, 1.0]])


def _turned_photo(kind: ScaleKind, upright_deg: float) -> list[str]:
    """A card knows its own top: where that is not up in the photo, the photo lies or the card was hung so."""
    if kind != "card" or abs(upright_deg) < ON_ITS_SIDE_DEG:
        return []
    how = "upside down" if abs(upright_deg) > 180.0 - ON_ITS_SIDE_DEG else "on its side"
    return [
        f"The card is {how} in the photo, and down is taken for the photo's own down: turn the photo upright,"
        " if it was the camera that was turned."
    ]


def _cautions(source: str, surface_se_in: float, tilt_deg: float) -> list[str]:
    told = []
    if source == "assumed":
        told.append(
            "The soil surface was not found, so depths are from the top of the photo: mark it, or take "
            "the photo with the surface in frame."
        )
    elif surface_se_in > TOLD_SURFACE_SE_IN:
        told.append(
            f"The soil surface is sure only to {length_words(2 * surface_se_in)}, and so are all depths: "
            "mark it."
        )
    if tilt_deg > TOLD_TILT_DEG:
        told.append(f"The camera was {tilt_deg:.0f} degrees from square to the wall: stand nearer to square.")
    return told


def _check_fine_enough(scale: ScaleFinding) -> None:
    if scale.px_per_in < FEWEST_PX_PER_IN:
        raise NoBelievableScale(
            f"By the {scale.kind} an inch of wall is {scale.px_per_in:.2g} pixels: no root shows in it.",
            "Check the stated length of the scale object, or go nearer and use the camera's full resolution.",
        )


def _check_not_too_large(kind: ScaleKind, extent_in: Extent) -> None:
    x0, z0, x1, z1 = extent_in
    if (x1 - x0) * (z1 - z0) > LARGEST_WALL_IN2:
        raise NoBelievableScale(
            f"By the {kind} the photo would show {length_words(x1 - x0, 0)} by {length_words(z1 - z0, 0)} of "
            "wall, more than is read at once.",
            "Check the stated length of the scale object, or go nearer and photograph the wall in parts.",
        )


def _finding(located: Located, fit: CameraFit, size_px: tuple[int, int]) -> ScaleFinding:
    px_per_in = px_per_in_at(fit, np.zeros(2))
    share = fit.standard_error(lambda values: _log_scale(values, fit, size_px))
    used = located.fit.used
    # The sides of a bar only place it sideways; they are not what is measured.
    used = used.keep(used.se_px < SIDE_SE_PX)
    return ScaleFinding(
        kind=located.kind,
        px_per_in=px_per_in,
        px_per_in_se=px_per_in * float(np.hypot(share, MODEL_SE_SHARE)),
        outlines_px=located.outlines_px,
        points_in=used.object_in * [located.fit.half_width_in, 1.0],
        points_px=used.photo_px,
        residual_px=located.fit.residual_px,
        fitted_px=used.photo_px + residuals_px(located.fit, used)[:, None] * used.normal,
    )


def _check_sure_enough(scale: ScaleFinding) -> None:
    """A scale that may be wrong by 3 % is none; marked points are a person's own word.

    What a scale is sure to is said as by the check of a photo: it holds 95 times in 100.
    """
    share = scale.px_per_in_se / scale.px_per_in
    if scale.kind != "points" and share > MAX_SE_SHARE:
        raise NoBelievableScale(
            f"A {scale.kind} was found, but so little of it can be made out that lengths on this wall are "
            f"sure only to {100 * 2 * share:.1f} %; {100 * 2 * MAX_SE_SHARE:.0f} % is the most.",
            "Clean it and take the photo again, sharp and square on, with all of it in frame; or mark points "
            "a known distance apart.",
        )


def _similarity(values: Floats, fit: CameraFit, size_px: tuple[int, int]) -> complex:
    """Scale and turn from the fitted plane to that of other values, over the wall: a complex ratio.

    Least squares of a similarity between two point sets: sum(p* q) / sum(|p|^2), both about their means.
    """
    columns, rows = np.meshgrid(STATED_OVER[0] * size_px[0], STATED_OVER[1] * size_px[1])
    photo_px = np.column_stack([columns.ravel(), rows.ravel()])
    fitted, other = fit.to_plane(photo_px), fit.to_plane(photo_px, values)
    p, q = fitted[:, 0] + 1j * fitted[:, 1], other[:, 0] + 1j * other[:, 1]
    p, q = p - p.mean(), q - q.mean()
    return complex(np.vdot(p, q) / np.vdot(p, p))


def _log_scale(values: Floats, fit: CameraFit, size_px: tuple[int, int]) -> float:
    return float(np.log(abs(_similarity(values, fit, size_px))))


def _turn_se_deg(fit: CameraFit, size_px: tuple[int, int]) -> float:
    return float(
        np.degrees(fit.standard_error(lambda values: float(np.angle(_similarity(values, fit, size_px)))))
    )

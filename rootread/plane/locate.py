"""From a photo to its wall plane: scale object, level, surface, and whether to believe them."""

from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np

from rootread.errors import NoBelievableScale
from rootread.fieldsheet import SheetRow
from rootread.geometry import Points, apply_homography
from rootread.marks import Marks
from rootread.photo import Photo, to_linear
from rootread.plane.bars import find_bars
from rootread.plane.camera import LOG_FOCAL, SHIFT, CameraBelief, CameraFit
from rootread.plane.card import MARKER_IN, find_cards
from rootread.plane.level import Witness, card_says, photo_says, staff_says, surface_says, weigh
from rootread.plane.points import locate_points
from rootread.plane.sightings import Floats
from rootread.plane.staff import BAND_IN, find_staff
from rootread.plane.strips import straighten
from rootread.plane.surface import GroundLine, find_ground_line
from rootread.plane.tape import find_tape
from rootread.plane.types import Level, ScaleFinding, ScaleKind, Surface, WallPlane
from rootread.settings import PlaneSettings

# A pit wall's photo shows between these many inches from side to side.
PHOTO_WIDTH_IN = (6.0, 240.0)
# A ground line with less evidence than this is not taken for the surface.
MIN_SURFACE_EVIDENCE = 0.3
# The rise of the ground along the line is known no better than this, for its waves.
SLOPE_SE_DEG = 0.5
# A surface taken as the photo's upper edge, or known by marks.
ASSUMED_SURFACE_SE_IN = 2.0
MARKED_SURFACE_SE_IN = 0.1
# The part of the photo over which the scale's error is stated, shares of width and height.
STATED_OVER = (np.linspace(0.2, 0.8, 7), np.linspace(0.3, 0.9, 7))


@dataclass(frozen=True, eq=False)
class Located:
    """A scale object and the plane of its front, in its own inches: origin at its centre, z its own down."""

    kind: ScaleKind
    fit: CameraFit
    outlines_px: tuple[Points, ...]
    cautions: tuple[str, ...] = ()


def find_plane(photo: Photo, row: SheetRow | None, marks: Marks | None, settings: PlaneSettings) -> WallPlane:
    """Find scale, level and soil surface of a wall.

    Parameters
    ----------
    photo : the photo.
    row : its row of the field sheet; None looks for any scale object.
    marks : what a person drew; scale points and surface line win over detection.
    settings : level and resolution.

    Raises
    ------
    NoBelievableScale : no scale object holds up; says why and what to do.
    """
    belief = CameraBelief.of_photo(photo.size_px, photo.focal_px)
    located = _find_scale(photo, row, marks, belief)
    _check_sense(located, photo)
    fit = _behind(located.fit, row.standoff_in if row is not None and row.standoff_in else 0.0)

    witnesses = _object_witnesses(located.kind, fit)
    upright = photo_says(fit).down_deg
    ground = _ground(photo, located, fit, upright, marks)
    if ground is not None:
        witnesses.append(surface_says(upright - _slope_deg(ground.line_in), SLOPE_SE_DEG))
    told = (row.level if row is not None and row.level else None) or settings.level
    down_deg, level = weigh(witnesses, told)
    level = Level(level.source, float(np.hypot(level.se_deg, _turn_se_deg(fit, photo.size_px))))

    surface_object, surface_se, source = _surface(ground, marks, fit, photo.size_px, upright)
    to_object = _turned(down_deg)
    surface = apply_homography(np.linalg.inv(to_object), surface_object)
    surface = surface[np.argsort(surface[:, 0])]
    top_in = float(np.trapezoid(surface[:, 1], surface[:, 0]) / np.ptp(surface[:, 0]))
    to_object = to_object @ np.array([[1, 0, 0], [0, 1, top_in], [0, 0, 1.0]])
    cautions = list(located.cautions)
    if source == "assumed":
        cautions.append("The soil surface was not found; depths are from the top of the photo.")
    elif surface_se > 0.3:
        cautions.append(f"The soil surface is uncertain by {surface_se:.1f} in.")
    return WallPlane(
        to_photo=fit.homography @ to_object,
        lens=fit.lens,
        scale=_finding(located, fit, photo.size_px),
        level=level,
        surface=Surface(surface - [0.0, top_in], surface_se, source),
        tilt_deg=fit.tilt_deg if len(fit.used) > 4 else float("nan"),
        cautions=tuple(cautions),
    )


def _find_scale(photo: Photo, row: SheetRow | None, marks: Marks | None, belief: CameraBelief) -> Located:
    """The scale object the sheet names, or the first kind that holds up."""
    word = row.scale if row is not None else "auto"
    unit_in = row.scale_unit_in if row is not None else None
    if marks is not None and marks.scale_points:
        return Located("points", locate_points(marks, belief), ())
    if word == "points":
        return Located("points", locate_points(marks or Marks(), belief), ())
    grey = cv2.cvtColor(photo.rgb, cv2.COLOR_RGB2GRAY)
    light = to_linear(grey)
    if word in ("auto", "card"):
        cards = find_cards(grey, light, belief, unit_in or MARKER_IN)
        if cards:
            outline = cards[0].fit.to_photo(cards[0].outline_in)
            return Located("card", cards[0].fit, (outline,))
    strips = [straighten(light, bar) for bar in find_bars(photo.rgb)] if word != "card" else []
    if word in ("auto", "staff"):
        staff = find_staff(light, strips, belief, (unit_in if word == "staff" else None) or BAND_IN)
        if staff is not None:
            return Located("staff", staff.fit, (staff.outline_px,))
    if word in ("auto", "tape"):
        tape = find_tape(light, strips, belief, unit_in if word == "tape" else None)
        if tape is not None:
            return Located("tape", tape.fit, (tape.outline_px,))
    wanted = "card, staff or tape" if word == "auto" else word
    raise NoBelievableScale(
        f"No {wanted} was found that holds up as a scale.",
        "Take the photo with the whole scale object in frame, or mark two points a known distance apart.",
    )


def _check_sense(located: Located, photo: Photo) -> None:
    """Refuse a scale that makes the wall impossibly small or large."""
    width_in = photo.size_px[0] / _px_per_in(located.fit)
    if not PHOTO_WIDTH_IN[0] <= width_in <= PHOTO_WIDTH_IN[1]:
        raise NoBelievableScale(
            f"By the {located.kind} the photo would show {width_in:.0f} in of wall, which cannot be.",
            "Check the size stated for the scale object in the sheet's scale column.",
        )


def _behind(fit: CameraFit, standoff_in: float) -> CameraFit:
    """The wall's plane: that of the object moved away from the camera by the object's standoff."""
    if standoff_in == 0.0:
        return fit
    away = fit.rotation[:, 2] * np.sign(fit.rotation[:, 2] @ fit.shift_in)
    values = fit.values.copy()
    values[SHIFT] += standoff_in * away / [1.0, 1.0, np.exp(values[LOG_FOCAL])]
    return replace(fit, values=values)


def _object_witnesses(kind: ScaleKind, fit: CameraFit) -> list[Witness]:
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


def _ground(
    photo: Photo, located: Located, fit: CameraFit, upright: float, marks: Marks | None
) -> GroundLine | None:
    """The ground line in inches about the object's centre, turned to the photo's upright."""
    if marks is not None and len(marks.surface_px) >= 2:
        return None
    to_object = _turned(upright)
    width, height = photo.size_px
    edge = np.array([[x, y] for x in np.linspace(0, width - 1, 9) for y in np.linspace(0, height - 1, 9)])
    seen = apply_homography(np.linalg.inv(to_object), fit.to_plane(edge))
    (x0, z0), (x1, z1) = np.percentile(seen, 2, axis=0), np.percentile(seen, 98, axis=0)
    top = apply_homography(np.linalg.inv(to_object), fit.to_plane(edge[edge[:, 1] == 0]))
    z0 = max(float(top[:, 1].min()), z0 - 10.0)
    hidden = [apply_homography(np.linalg.inv(to_object), fit.to_plane(o)) for o in located.outlines_px]
    found = find_ground_line(
        photo.rgb, fit.homography @ to_object, fit.lens, (float(x0), z0, float(x1), float(z1)), hidden
    )
    return found if found is not None and found.evidence >= MIN_SURFACE_EVIDENCE else None


def _slope_deg(line_in: Points) -> float:
    """Angle by which a line falls to the right."""
    return float(np.degrees(np.arctan(np.polyfit(line_in[:, 0], line_in[:, 1], 1)[0])))


def _surface(
    ground: GroundLine | None, marks: Marks | None, fit: CameraFit, size_px: tuple[int, int], upright: float
) -> tuple[Points, float, Literal["photo", "marks", "assumed"]]:
    """The surface line in object inches, its standard error and where it is from."""
    if marks is not None and len(marks.surface_px) >= 2:
        return fit.to_plane(np.array(marks.surface_px, dtype=float)), MARKED_SURFACE_SE_IN, "marks"
    if ground is not None:
        return apply_homography(_turned(upright), ground.line_in), ground.se_in, "photo"
    top = np.column_stack([np.linspace(0, size_px[0] - 1, 9), np.zeros(9)])
    return fit.to_plane(top), ASSUMED_SURFACE_SE_IN, "assumed"


def _finding(located: Located, fit: CameraFit, size_px: tuple[int, int]) -> ScaleFinding:
    px_per_in = _px_per_in(fit)
    return ScaleFinding(
        kind=located.kind,
        px_per_in=px_per_in,
        px_per_in_se=px_per_in * fit.standard_error(lambda values: _log_scale(values, fit, size_px)),
        outlines_px=located.outlines_px,
        points_in=located.fit.used.object_in,
        points_px=located.fit.used.photo_px,
        residual_px=located.fit.residual_px,
    )


def _px_per_in(fit: CameraFit) -> float:
    """Photo pixels per inch at the object's centre: the root of the area ratio."""
    step = 0.1
    here, right, down = fit.to_photo(np.array([[0.0, 0.0], [step, 0.0], [0.0, step]]))
    across, along = (right - here) / step, (down - here) / step
    return float(np.sqrt(abs(across[0] * along[1] - across[1] * along[0])))


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

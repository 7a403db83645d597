"""Scale, level and surface on made photos: by kind of scale object and by what is wrong with the photo.

usage: python benchmarks/scale.py [--each N] [--width PX] [--only KIND CONDITION]

For each kind and condition N scenes are made, read, and compared with their
truth: 3 kinds x 7 conditions x 10 scenes are 210 photos. The table gives the
error of lengths over the wall (median, 95th percentile, largest), how many
were refused, how many were read wrong by more than 3 % (must be 0), how often
two stated standard errors hold the truth, and the same for level and surface.
"""

import argparse
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from truth import Points

from rootread.errors import WallRefused
from rootread.fieldsheet import SheetRow
from rootread.geometry import apply_homography
from rootread.photo import Photo
from rootread.plane import Lens, WallPlane, find_plane
from rootread.scene import Scene, draw_scene, render
from rootread.settings import PlaneSettings

KINDS = ("card", "staff", "tape")
HELD_OUT_SEED = 910_000
WRONG_PCT = 3.0


@dataclass(frozen=True)
class Reading:
    """One photo: errors against the truth; NaN where it was refused."""

    kind: str
    condition: str
    refused: bool
    scale_pct: float
    scale_se_pct: float
    level_deg: float
    level_se_deg: float
    surface_in: float
    """Median distance of the surface line."""
    surface_bias_in: float
    surface_se_in: float


def tilt(scene: Scene, rng: np.random.Generator, degrees: float) -> Scene:
    """The camera moved aside and turned back, by this much in all, and rolled a little."""
    camera = scene.camera
    way = rng.uniform(0, 2 * np.pi)
    yaw, pitch = degrees * np.cos(way), degrees * np.sin(way)
    # Further off, so that the tilted view still shows the whole scale object.
    distance = 1.12 * camera.distance_in
    aim_x = camera.x_in + camera.distance_in * np.tan(np.radians(camera.yaw_deg))
    aim_z = camera.z_in + camera.distance_in * np.tan(np.radians(camera.pitch_deg))
    moved = replace(
        camera,
        yaw_deg=float(yaw),
        pitch_deg=float(pitch),
        roll_deg=float(rng.uniform(-6, 6)),
        distance_in=distance,
        x_in=float(aim_x - distance * np.tan(np.radians(yaw))),
        z_in=float(aim_z - distance * np.tan(np.radians(pitch))),
    )
    return replace(scene, camera=moved)


def blur(scene: Scene, rng: np.random.Generator) -> Scene:
    """Out of focus and shaken."""
    shaken = replace(
        scene.faults,
        defocus_px=2.0,
        motion_px=float(rng.uniform(2, 5)),
        motion_deg=float(rng.uniform(0, 180)),
    )
    return replace(scene, faults=shaken)


def dust(scene: Scene, rng: np.random.Generator) -> Scene:
    """Soil smeared over the scale object, and glare on it."""
    return replace(scene, scale=replace(scene.scale, dirt=float(rng.uniform(0.3, 0.5)), gloss=0.25))


def cover(rgb: NDArray[np.uint8], corners_px: Points, rng: np.random.Generator) -> NDArray[np.uint8]:
    """Clods of the photo's own soil over a quarter of the scale object's length."""
    rgb = rgb.copy()
    height, width = rgb.shape[:2]
    along = corners_px[3] - corners_px[0], corners_px[1] - corners_px[0]
    shortest = min(np.hypot(*along[0]), np.hypot(*along[1]))
    for _ in range(6):
        share = rng.uniform(0, 1, 2)
        centre = corners_px[0] + share[0] * along[0] + share[1] * along[1]
        size = rng.uniform(0.12, 0.3) * max(shortest, 90)
        clod = np.zeros((height, width), np.uint8)
        turns = np.linspace(0, 2 * np.pi, 14)[:-1]
        radius = size * rng.uniform(0.7, 1.2, 13)
        outline = centre + np.column_stack([np.cos(turns), np.sin(turns)]) * radius[:, None]
        cv2.fillPoly(clod, [np.round(outline).astype(np.int32)], 255, cv2.LINE_AA)
        # The soil comes from beside the object, so that it has the wall's own colour and sharpness.
        step = round(0.3 * width) * (1 if centre[0] < width / 2 else -1)
        soil = np.roll(rgb, -step, axis=1)
        part = (clod / 255.0)[..., None]
        rgb = np.round(part * soil + (1 - part) * rgb).astype(np.uint8)
    return rgb


CONDITIONS: dict[str, Callable[[Scene, np.random.Generator], Scene]] = {
    "square": lambda scene, rng: tilt(scene, rng, 3.0),
    "tilt 12": lambda scene, rng: tilt(scene, rng, 12.0),
    "tilt 22": lambda scene, rng: tilt(scene, rng, 22.0),
    "blur": blur,
    "dust": dust,
    "covered": lambda scene, rng: scene,
    "all at once": lambda scene, rng: tilt(dust(blur(scene, rng), rng), rng, 10.0),
}
COVERED = ("covered", "all at once")


def make(kind: str, condition: str, number: int, width_px: int) -> tuple[Photo, dict[str, Any]]:
    """One made photo and its truth."""
    conditions = list(CONDITIONS)
    seed = HELD_OUT_SEED + 10_000 * KINDS.index(kind) + 1_000 * conditions.index(condition) + number
    rng = np.random.default_rng(seed)
    difficulty = ("clean", "typical", "typical", "hard")[number % 4]
    scene = draw_scene(rng, difficulty=difficulty, scale=kind)  # type: ignore[arg-type]
    made = render(CONDITIONS[condition](scene, rng), (width_px, width_px * 3 // 4))
    rgb = made.rgb
    if condition in COVERED:
        rgb = cover(rgb, np.array(made.truth["scale_object"]["corners_px"]), rng)
    return Photo(None, rgb), made.truth


def read(kind: str, condition: str, number: int, width_px: int) -> Reading:
    """Make one photo, read it and compare."""
    photo, truth = make(kind, condition, number, width_px)
    try:
        plane = find_plane(photo, SheetRow("made.jpg", "made"), None, PlaneSettings())
    except WallRefused:
        return Reading(kind, condition, True, *[float("nan")] * 7)
    ratio = similarity(plane, truth)
    surface_in = surface_error(plane, truth)
    return Reading(
        kind,
        condition,
        False,
        100 * (abs(ratio) - 1.0),
        100 * plane.scale.px_per_in_se / plane.scale.px_per_in,
        float(np.degrees(np.angle(ratio))),
        plane.level.se_deg,
        float(np.median(np.abs(surface_in))),
        float(np.median(surface_in)),
        plane.surface.se_in,
    )


def true_plane(truth: dict[str, Any], key: str) -> Callable[[Points], Points]:
    """Photo pixels to true inches in one of the truth's planes."""
    lens = Lens(truth["focal_px"], truth["focal_px"], *truth["distortion_centre"], truth["k1"])
    inverse = np.linalg.inv(np.array(truth[key]))
    return lambda photo_px: apply_homography(inverse, lens.undistort(photo_px))


def similarity(plane: WallPlane, truth: dict[str, Any]) -> complex:
    """Size and turn of lengths as read against those of the object's true plane, over the wall."""
    width, height = truth["photo_size"]
    columns, rows = np.meshgrid(np.linspace(0.2, 0.8, 7) * width, np.linspace(0.3, 0.9, 7) * height)
    photo_px = np.column_stack([columns.ravel(), rows.ravel()])
    true_in, read_in = true_plane(truth, "object_plane_to_photo")(photo_px), plane.to_wall_in(photo_px)
    p, q = true_in[:, 0] + 1j * true_in[:, 1], read_in[:, 0] + 1j * read_in[:, 1]
    p, q = p - p.mean(), q - q.mean()
    return complex(np.vdot(p, q) / np.vdot(p, p))


def surface_error(plane: WallPlane, truth: dict[str, Any]) -> NDArray[np.float64]:
    """How much too deep the surface line is, inches, along it."""
    line_px = plane.to_photo_px(plane.surface.line_in)
    width = truth["photo_size"][0]
    inside = (line_px[:, 0] >= 0) & (line_px[:, 0] < width)
    line_in = true_plane(truth, "plane_to_photo")(line_px[inside] if inside.any() else line_px)
    surface = np.array(truth["soil_surface"])
    return line_in[:, 1] - np.interp(line_in[:, 0], surface[:, 0], surface[:, 1])


def row(name: str, readings: list[Reading]) -> str:
    """One line of the table."""
    seen = [reading for reading in readings if not reading.refused]
    scale = np.abs([reading.scale_pct for reading in seen])
    if not seen:
        return f"| {name} | {len(readings)} | {len(readings)} |" + " |" * 9

    def held(errors: list[float], standard_errors: list[float]) -> float:
        return 100 * float(np.mean(np.abs(errors) <= 2 * np.array(standard_errors)))

    figures = (
        f"{len(readings)}",
        f"{len(readings) - len(seen)}",
        f"{int(np.sum(scale > WRONG_PCT))}",
        f"{np.median(scale):.2f}",
        f"{np.percentile(scale, 95):.2f}",
        f"{scale.max():.2f}",
        f"{held([r.scale_pct for r in seen], [r.scale_se_pct for r in seen]):.0f}",
        f"{np.median(np.abs([r.level_deg for r in seen])):.2f}",
        f"{held([r.level_deg for r in seen], [r.level_se_deg for r in seen]):.0f}",
        f"{np.median([r.surface_in for r in seen]):.2f}",
        f"{held([r.surface_bias_in for r in seen], [r.surface_se_in for r in seen]):.0f}",
    )
    return f"| {name} | " + " | ".join(figures) + " |"


HEAD = (
    "| photos | n | refused | wrong | scale median % | 95th % | largest % | within 2 se % "
    "| level median deg | within 2 se % | surface median in | within 2 se % |"
)


def main() -> None:
    """Make, read, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--each", type=int, default=10, help="scenes of each kind and condition")
    parser.add_argument("--width", type=int, default=2800, help="of the photos, pixels")
    parser.add_argument("--only", nargs=2, metavar=("KIND", "CONDITION"), help="one cell of the table")
    given = parser.parse_args()
    cells = [(kind, condition) for kind in KINDS for condition in CONDITIONS]
    if given.only:
        cells = [(given.only[0], given.only[1])]
    print(HEAD + "\n|" + "---|" * 12, flush=True)
    all_readings: list[Reading] = []
    for kind, condition in cells:
        readings = [read(kind, condition, number, given.width) for number in range(given.each)]
        all_readings += readings
        print(row(f"{kind}, {condition}", readings), flush=True)
    for kind in KINDS:
        of_kind = [reading for reading in all_readings if reading.kind == kind]
        if of_kind:
            print(row(f"**{kind}**", of_kind), flush=True)
    print(row("**all**", all_readings))


if __name__ == "__main__":
    main()

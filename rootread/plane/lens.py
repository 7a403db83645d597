"""Lens profiles: what a camera's lens does to straight lines, measured once and kept in a file.

A profile is a TOML file with OpenCV's camera model at the picture size it was
measured at; it is scaled to photos of the same shape. The sheet names a
profile, or one is found by the camera's name in the photo's EXIF.
"""

import json
import math
import tomllib
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from rootread.errors import BadSheet
from rootread.fieldsheet import SheetRow
from rootread.photo import Photo
from rootread.plane.types import Lens

# Folders that are searched for profiles: beside the photo, and where rootread is run.
FOLDERS = ("lens", "calibration")
# A profile fits a photo whose sides have the same ratio, and whose EXIF focal length is this near.
SAME_SHAPE = 0.01
SAME_FOCAL = 0.05


@dataclass(frozen=True)
class LensProfile:
    """A measured lens."""

    name: str
    camera: str
    """Maker and model as in EXIF; empty when the photos did not say."""
    size_px: tuple[int, int]
    """Columns and rows of the pictures it was measured on."""
    lens: Lens
    residual_px: float
    """Root mean square reprojection error."""
    photos: int
    exif_focal_px: float | None = None
    """What the camera itself wrote as focal length, in pixels; None when it did not say."""

    def at_size(self, size_px: tuple[int, int]) -> Lens | None:
        """The lens for photos of another size of the same shape, also upright ones; None for other shapes."""
        lens, size = self.lens, self.size_px
        if (size[0] > size[1]) != (size_px[0] > size_px[1]):
            # Turned by 90 degrees, to either side: what depends on the side is left out.
            size = (size[1], size[0])
            middle = ((size[0] - 1) / 2.0, (size[1] - 1) / 2.0)
            lens = replace(lens, fx=lens.fy, fy=lens.fx, cx=middle[0], cy=middle[1], p1=0.0, p2=0.0)
        scale = size_px[0] / size[0]
        if abs(scale * size[1] / size_px[1] - 1.0) > SAME_SHAPE:
            return None
        # Pixel centres are whole numbers, so the picture's corner is at -0.5.
        return replace(
            lens,
            fx=lens.fx * scale,
            fy=lens.fy * scale,
            cx=(lens.cx + 0.5) * scale - 0.5,
            cy=(lens.cy + 0.5) * scale - 0.5,
        )


def write_profile(profile: LensProfile, path: Path) -> None:
    """Write a profile as TOML."""
    lines = [
        "# Lens profile: OpenCV's radial-tangential camera model, lengths in pixels.",
        f"camera = {json.dumps(profile.camera)}",
        f"size_px = [{profile.size_px[0]}, {profile.size_px[1]}]",
        f"photos = {profile.photos}",
        f"residual_px = {profile.residual_px:.4f}",
        *([f"exif_focal_px = {profile.exif_focal_px:.10g}"] if profile.exif_focal_px else []),
        "",
        "[lens]",
        *(f"{name} = {value:.10g}" for name, value in asdict(profile.lens).items()),
    ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def read_profile(path: Path) -> LensProfile:
    """Read a profile.

    Raises
    ------
    BadSheet : the file is not a profile.
    """
    try:
        given = tomllib.loads(path.read_text(encoding="utf-8"))
        lens = Lens(**{key: float(value) for key, value in given["lens"].items()})
        columns, rows = (int(side) for side in given["size_px"])
        profile = LensProfile(
            path.stem,
            str(given["camera"]),
            (columns, rows),
            lens,
            float(given["residual_px"]),
            int(given["photos"]),
            float(given["exif_focal_px"]) if "exif_focal_px" in given else None,
        )
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, KeyError, TypeError, ValueError) as error:
        raise BadSheet(
            f"{path}: not a lens profile ({error}).", "Make it again with: rootread lens FOLDER"
        ) from error
    if not all(map(math.isfinite, asdict(lens).values())) or min(lens.fx, lens.fy, columns, rows) <= 0:
        raise BadSheet(
            f"{path}: not a lens profile (a number is out of range).",
            "Make it again with: rootread lens FOLDER",
        )
    return profile


def lens_for(photo: Photo, row: SheetRow | None) -> Lens | None:
    """The lens of a photo, from the profile the sheet names or that its camera's name matches.

    Raises
    ------
    BadSheet : the sheet names a profile that is not there, or not of this photo's shape.
    """
    if row is not None and row.lens:
        return _named(row.lens, lens_folders(photo.path), photo)
    if photo.camera is None or photo.focal_px is None:
        return None
    for path in profile_files(photo.path):
        profile = read_profile(path)
        lens = profile.at_size(photo.size_px) if profile.camera == photo.camera else None
        if lens is None:
            continue
        # What a camera writes is rounded, but alike in all its photos; without it the measured one is near.
        stated_px = profile.exif_focal_px or profile.lens.fx
        per_diagonal = stated_px / math.hypot(*profile.size_px)
        if abs(per_diagonal * math.hypot(*photo.size_px) / photo.focal_px - 1.0) < SAME_FOCAL:
            return lens
    return None


def profile_files(photo: Path | None) -> list[Path]:
    """Every lens profile that a photo may be read with, nearest to it first."""
    return [path for folder in lens_folders(photo) for path in sorted(folder.glob("*.toml"))]


def _named(name: str, folders: list[Path], photo: Photo) -> Lens:
    paths = [folder / f"{name.removesuffix('.toml')}.toml" for folder in folders]
    path = next((path for path in paths if path.is_file()), None)
    if path is None:
        looked = ", ".join(str(folder) for folder in folders)
        nowhere = f"there is no folder {' or '.join(FOLDERS)} beside the photos or here"
        raise BadSheet(
            f"The sheet names the lens profile {name!r}, which is not there "
            f"({f'looked in {looked}' if looked else nowhere}).",
            "Make it with: rootread lens FOLDER, or leave the cell blank.",
        )
    lens = read_profile(path).at_size(photo.size_px)
    if lens is None:
        raise BadSheet(
            f"The lens profile {name!r} was measured on pictures of another shape than this photo.",
            "Use photos straight from the camera, not cropped, or leave the lens cell blank.",
        )
    return lens


def lens_folders(photo: Path | None) -> list[Path]:
    """Folders that may hold profiles, nearest to the photo first."""
    roots = [photo.parent] if photo is not None else []
    roots.append(Path.cwd())
    folders = [root / name for root in roots for name in FOLDERS]
    return [folder for folder in dict.fromkeys(folders) if folder.is_dir()]

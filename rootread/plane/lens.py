"""Lens profiles: what a camera's lens does to straight lines, measured once and kept in a file.

A profile is a TOML file with OpenCV's camera model at the picture size it was
measured at; it is scaled to photos of the same shape. The sheet names a
profile, or one is found by the camera's name in the photo's EXIF.
"""

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
        f'camera = "{profile.camera}"',
        f"size_px = [{profile.size_px[0]}, {profile.size_px[1]}]",
        f"photos = {profile.photos}",
        f"residual_px = {profile.residual_px:.4f}",
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
    folders = _folders(photo)
    if row is not None and row.lens:
        return _named(row.lens, folders, photo)
    if photo.camera is None:
        return None
    for path in (path for folder in folders for path in sorted(folder.glob("*.toml"))):
        profile = read_profile(path)
        lens = profile.at_size(photo.size_px) if profile.camera == photo.camera else None
        same_focal = lens is not None and (
            photo.focal_px is not None and abs(lens.fx / photo.focal_px - 1.0) < SAME_FOCAL
        )
        if same_focal:
            return lens
    return None


def _named(name: str, folders: list[Path], photo: Photo) -> Lens:
    paths = [folder / f"{name.removesuffix('.toml')}.toml" for folder in folders]
    path = next((path for path in paths if path.is_file()), None)
    if path is None:
        looked = ", ".join(str(folder) for folder in folders) or "no folder"
        raise BadSheet(
            f"The sheet names the lens profile {name!r}, which is not there (looked in {looked}).",
            "Make it with: rootread lens FOLDER, or leave the cell blank.",
        )
    lens = read_profile(path).at_size(photo.size_px)
    if lens is None:
        raise BadSheet(
            f"The lens profile {name!r} was measured on pictures of another shape than this photo.",
            "Use photos straight from the camera, not cropped, or leave the lens cell blank.",
        )
    return lens


def _folders(photo: Photo) -> list[Path]:
    """Folders that may hold profiles, nearest to the photo first."""
    roots = [photo.path.parent] if photo.path is not None else []
    roots.append(Path.cwd())
    folders = [root / name for root in roots for name in FOLDERS]
    return [folder for folder in dict.fromkeys(folders) if folder.is_dir()]

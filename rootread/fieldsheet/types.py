"""The rows of the field sheet, typed."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

ScaleWord = Literal["auto", "card", "staff", "tape", "points"]
LevelWord = Literal["card", "staff", "photo", "surface"]


@dataclass(frozen=True)
class RecordedLayer:
    """A layer someone recorded in the pit."""

    name: str
    depth_in: float


@dataclass(frozen=True)
class CaliperPair:
    """A root measured with calipers, both ways across."""

    major_in: float
    minor_in: float
    depth_in: float | None = None

    @property
    def flattening(self) -> float:
        """``1 - minor / major``: 0 round, toward 1 a ribbon."""
        return 1.0 - self.minor_in / self.major_in


@dataclass(frozen=True)
class ConeReading:
    """What a cone penetrometer showed at one place."""

    x_in: float
    depth_in: float
    """Below the soil surface there."""
    psi: float


@dataclass(frozen=True)
class SheetRow:
    """One row of the field sheet; blank cells are empty text or None."""

    photo: str
    wall: str
    pit: str = ""
    treatment: str = ""
    date: str = ""
    crop: str = ""
    stage: str = ""
    scale: ScaleWord = "auto"
    scale_unit_in: float | None = None
    """Marker side of a card or band length of a staff, where it is not the usual one."""
    layers: tuple[RecordedLayer, ...] = ()
    """By depth."""
    tool_depth_in: float | None = None
    shank_spacing_in: float | None = None
    shanks_at_in: tuple[float, ...] = ()
    """x of the slots from the scale object's centre, left negative, left to right."""
    pit_depth_in: float | None = None
    notes: str = ""
    standoff_in: float | None = None
    """How far the scale object stands in front of the wall face."""
    level: LevelWord | None = None
    """What to take the plumb direction from; None leaves it to the settings."""
    lens: str | None = None
    """Name of a lens profile."""
    calipers: tuple[CaliperPair, ...] = ()
    cone: tuple[ConeReading, ...] = ()
    """From ``cone.csv`` beside the photo, not from the sheet itself."""
    row: int | None = None
    """Row in the spreadsheet; None without a sheet."""


def default_row(photo_name: str) -> SheetRow:
    """What is assumed of a photo that has no row: the wall is named like its file.

    >>> row = default_row("IMG_0042.jpg")
    >>> row.wall, row.scale, row.layers
    ('IMG_0042', 'auto', ())
    """
    return SheetRow(photo=photo_name, wall=Path(photo_name).stem)

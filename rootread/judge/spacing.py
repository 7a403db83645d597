"""How far apart shanks ran, in working depths, and which points loosen all the soil between them.

The soil that a point lifts widens upward from its tip, so that what lies
between two shanks is loosened only where they run close for their depth.
"""

from dataclasses import dataclass

from rootread.fieldsheet import SheetRow

SPACINGS = (
    ("plain points", 1.0, 1.5),
    ("winged points", 1.5, 2.0),
    ("winged points with shallow leading tines", 2.0, 2.5),
)
"""Shank spacing in working depths at which all the soil between is loosened. Spoor and Godwin 1978,
J. Agric. Engng Res. 23:243-258 (from memory)."""


@dataclass(frozen=True)
class ShankSpacing:
    """How far apart the shanks of a pass ran, and how deep."""

    apart_in: float
    tool_depth_in: float
    from_sheet: bool
    """The sheet's spacing; else from valley to valley of the loosened soil's floor."""

    @property
    def working_depths(self) -> float:
        """Spacing over depth."""
        return self.apart_in / self.tool_depth_in

    @property
    def loosens_with(self) -> str | None:
        """The plainest points that loosen all the soil at this spacing; None if none do."""
        return next((points for points, _, most in SPACINGS if self.working_depths <= most), None)


def spacing_by_sheet(row: SheetRow | None) -> ShankSpacing | None:
    """What the sheet says; None where it lacks spacing or depth."""
    if row is None or not row.shank_spacing_in or not row.tool_depth_in:
        return None
    return ShankSpacing(row.shank_spacing_in, row.tool_depth_in, from_sheet=True)

"""Which exports there are, and which a run's settings ask for."""

from collections.abc import Callable

from rootread.errors import BadRequest
from rootread.export.graphml import graphml
from rootread.export.overlay import overlay_svg
from rootread.export.rsml import rsml
from rootread.settings import ReportSettings
from rootread.wall import Wall

EXPORTS: dict[str, Callable[[Wall], bytes]] = {"rsml": rsml, "graphml": graphml, "svg": overlay_svg}
"""By file ending."""


def wanted_exports(names: str) -> dict[str, bool]:
    """Settings of the report section for a list such as ``rsml,svg``.

    Raises
    ------
    BadRequest : one of the names is no export.
    """
    asked = [name.strip().lower() for name in names.split(",") if name.strip()]
    for name in asked:
        if name not in EXPORTS:
            raise BadRequest(f"--export {name} is not known.", f"Choose from {', '.join(EXPORTS)}.")
    return {f"export_{name}": True for name in asked}


def exported(wall: Wall, settings: ReportSettings) -> dict[str, bytes]:
    """The files that the settings ask for, by file ending."""
    return {name: write(wall) for name, write in EXPORTS.items() if getattr(settings, f"export_{name}")}

"""A wall's roots in the forms that other programs open: RSML, GraphML and SVG."""

from rootread.export.graphml import graphml
from rootread.export.kinds import EXPORTS, exported, wanted_exports
from rootread.export.overlay import overlay_svg
from rootread.export.rsml import rsml

__all__ = ["EXPORTS", "exported", "graphml", "overlay_svg", "rsml", "wanted_exports"]

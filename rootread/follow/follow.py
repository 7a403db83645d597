"""Whole roots with all that is known of them: course, width, what cuts them, and how sure they are."""

from rootread.find.types import RootMap
from rootread.follow.confidence import with_confidence
from rootread.follow.courses import follow_courses
from rootread.follow.cuts import with_cuts
from rootread.follow.profile import with_measured_widths
from rootread.follow.types import Trace
from rootread.plane.types import Surface, WallImage
from rootread.settings import FollowSettings


def follow_roots(
    root_map: RootMap, image: WallImage, surface: Surface, settings: FollowSettings
) -> tuple[Trace, ...]:
    """Whole roots of one wall, in wall inches, base first.

    Parameters
    ----------
    root_map : the probability and mask of the find stage.
    image : the flat wall the map was made from, on the same grid.
    surface : the soil surface line, to tell bases from tips.
    settings : limits of gaps, bends and lengths.

    Raises
    ------
    WallRefused : what was found is a net, through which no root can be followed.
    """
    traces = follow_courses(root_map, image, surface, settings)
    traces = with_measured_widths(traces, image, root_map)
    traces = with_cuts(traces, image, surface)
    return with_confidence(traces, root_map, image)

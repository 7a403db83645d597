"""Say which pixels of the flat wall are root."""

from dataclasses import replace

import numpy as np

from rootread.find.network import network_roots
from rootread.find.painted import paint
from rootread.find.ridges import ridge_roots
from rootread.find.second_look import look_again, with_cracks
from rootread.find.sense import is_lattice
from rootread.find.shadow import shadow_cautions
from rootread.find.types import RootMap
from rootread.plane.types import WallImage
from rootread.settings import FindSettings
from rootread.threads import both

__all__ = ["RootMap", "find_roots", "paint", "with_cracks"]


def find_roots(image: WallImage, settings: FindSettings) -> RootMap:
    """Root map of a wall laid flat, by the finder that the settings name; cracks are not looked for yet."""
    finders = {"ridges": ridge_roots, "network": network_roots}
    root_map = finders[settings.finder](image, settings)
    seen, lattice = both(lambda: look_again(root_map, image), lambda: is_lattice(root_map.mask))
    if lattice:
        caution = "Lines in two directions square to each other, as in masonry or mesh: not taken for roots."
        nothing = np.zeros_like(root_map.mask)
        return RootMap(np.zeros_like(root_map.probability), nothing, root_map.grid, (caution,))
    return replace(seen, cautions=(*seen.cautions, *shadow_cautions(image)))

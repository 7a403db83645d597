"""Pictures of encounters with their truth, from made walls.

usage: python -m rootread.train.encounters.walls FOLDER [--seconds S] [--workers N] [--first-seed SEED]

Walls are drawn, photographed and followed by worker processes until the time
is over; FOLDER receives one file a wall.
"""

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rootread.errors import WallRefused
from rootread.follow.courses import flow_courses
from rootread.follow.regroup import View, looks
from rootread.settings import Settings
from rootread.train.encounters.truth import TrueRoots, of_one_root, shown_roots
from rootread.train.made import make_walls, read_made

FIRST_SEED = 770_000
"""Seeds below 800000 may be learnt from."""
MOST_ENCOUNTERS = 200
"""Of one wall, so that no crowded wall rules."""


def encounter_examples(
    photo: Path, truth: dict[str, Any], rng: np.random.Generator
) -> dict[str, NDArray[Any]]:
    """What is learnt from one made photo.

    Returns
    -------
    ``pictures`` ``(S, 11, 96, 192)`` and ``facts`` ``(S, 97)`` of the encounters, ``of_one`` ``(S, 4)``
    whether limbs are of one root and ``onto`` ``(S, 4, 12, 24)`` where their true roots lie (see ``truth``),
    and ``length`` ``(S, 4)`` of the limbs, inches.
    """
    settings = Settings().follow
    plane, image, strands = read_made(photo)
    view = View.of(image, strands, plane.surface)
    # What later looks see is learnt too: roots that were linked anew, rightly or wrongly.
    seen = [
        (look, encounter)
        for look, encounters, _ in looks(flow_courses(strands, image, plane.surface, settings), view)
        for encounter in encounters
    ]
    if not seen:
        raise WallRefused("no two roots on it are near each other", "Make another.")
    chosen = [seen[k] for k in np.sort(rng.permutation(len(seen))[:MOST_ENCOUNTERS])]
    roots = TrueRoots(truth, plane)
    fours = [look.limbs(encounter) for look, encounter in chosen]
    asked = [(four, roots.of_limbs(four)) for four in fours]
    return {
        "pictures": np.concatenate([look.pictures([encounter]) for look, encounter in chosen]),
        "facts": np.concatenate([look.facts([encounter]) for look, encounter in chosen]),
        "of_one": np.array([of_one_root(four, held) for four, held in asked]),
        "onto": np.array([shown_roots(four, held, roots) for four, held in asked]),
        "length": np.array(
            [[limb.length_in if limb else 0.0 for limb in four] for four in fours], np.float32
        ),
    }


if __name__ == "__main__":
    make_walls(__doc__ or "", FIRST_SEED, encounter_examples)

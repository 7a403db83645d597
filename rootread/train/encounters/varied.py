"""The same encounters seen otherwise, so that no network learns its walls by heart."""

from dataclasses import replace

import torch
from torch import Tensor, nn

from rootread.follow.encounter_facts import (
    ASIDE,
    ASKEW,
    LIMB_FACTS,
    PAIR_FACTS,
    PLACE_FACTS,
    TURN,
    WIDENING,
)
from rootread.follow.encounter_pictures import ACROSS, LENGTH
from rootread.train.encounters.examples import Examples
from rootread.train.looker import half_strange, relit

MOST_TURN, MOST_ZOOM, MOST_MOVE = 0.15, 0.2, 0.1
"""Pictures are turned (radians), zoomed and moved (of half their size) by no more than this."""
PAIRS_AT = PLACE_FACTS + 4 * LIMB_FACTS


def varied(walls: Examples) -> Examples:
    """Encounters with the roots called the other way, from the other end, mirrored, askew, in other light."""
    for otherwise in (called_otherwise, from_the_other_end, mirrored):
        chosen = torch.rand(len(walls.facts), device=walls.facts.device) < 0.5
        walls = otherwise(walls).where(chosen, walls)
    seen, onto = askew(walls.pictures, walls.onto)
    shown = half_strange(relit(torch.cat([seen[:, :4], torch.full_like(seen[:, :1], 255)], 1)))
    return replace(walls, pictures=torch.cat([shown[:, :4], seen[:, 4:]], 1), onto=onto)


def called_otherwise(walls: Examples) -> Examples:
    """The first root called the second."""
    return Examples(
        walls.pictures[:, [0, 1, 2, 3, 6, 7, 4, 5, 8, 10, 9]],
        _facts(walls.facts, [0, 1, 3, 2, 4, 7, 8, 5, 6], (2, 3, 0, 1), (1, 0, 3, 2)),
        walls.of_one[:, [1, 0, 3, 2]],
        walls.weight[:, [1, 0, 3, 2]],
        walls.onto[:, [2, 3, 0, 1]],
    )


def from_the_other_end(walls: Examples) -> Examples:
    """Both roots walked the other way: heads are tails, pictures turned about. A gap is still called one."""
    facts = _facts(walls.facts, [0, 1, 2, 3, 4, 6, 5, 8, 7], (1, 0, 3, 2), (0, 1, 3, 2))
    # Of each pair the other limb comes first, so that what is told of one and of the other changes places.
    for pair in range(PAIRS_AT, PAIRS_AT + 4 * PAIR_FACTS, PAIR_FACTS):
        for one in (pair + ASKEW, pair + ASIDE):
            facts[:, [one, one + 1]] = facts[:, [one + 1, one]]
        facts[:, pair + WIDENING] *= -1
    return Examples(
        walls.pictures[:, [0, 1, 2, 3, 5, 4, 7, 6, 8, 9, 10]].flip((2, 3)),
        facts,
        walls.of_one[:, [0, 1, 3, 2]],
        walls.weight[:, [0, 1, 3, 2]],
        walls.onto[:, [1, 0, 3, 2]].flip((2, 3)),
    )


def mirrored(walls: Examples) -> Examples:
    """In a mirror along their way, where a root that bends to the left bends to the right."""
    facts = walls.facts.clone()
    for limb in range(PLACE_FACTS, PAIRS_AT, LIMB_FACTS):
        facts[:, limb + TURN] *= -1
    return replace(walls, pictures=walls.pictures.flip(2), facts=facts, onto=walls.onto.flip(2))


def _facts(facts: Tensor, place: list[int], limbs: tuple[int, ...], pairs: tuple[int, ...]) -> Tensor:
    """Facts in another order of what is told of the place, of limbs and of pairs of limbs."""
    of_limbs = [PLACE_FACTS + LIMB_FACTS * k + f for k in limbs for f in range(LIMB_FACTS)]
    of_pairs = [PAIRS_AT + PAIR_FACTS * k + f for k in pairs for f in range(PAIR_FACTS)]
    return facts[:, [*place, *of_limbs, *of_pairs]]


def askew(pictures: Tensor, onto: Tensor) -> tuple[Tensor, Tensor]:
    """Pictures, and what lies where in them, turned a little, moved, and nearer or farther."""
    count, device = len(pictures), pictures.device
    turn, zoom, *move = torch.randn(4, count, device=device)
    turn, zoom = MOST_TURN * turn.clamp(-2, 2) / 2, 1 + MOST_ZOOM * zoom.clamp(-2, 2) / 2
    slim = ACROSS / LENGTH
    rows = [
        torch.stack([zoom * turn.cos(), -slim * zoom * turn.sin(), MOST_MOVE * move[0].clamp(-2, 2) / 2], 1),
        torch.stack([zoom * turn.sin() / slim, zoom * turn.cos(), MOST_MOVE * move[1].clamp(-2, 2) / 2], 1),
    ]
    places = torch.stack(rows, 1)

    def moved(layers: Tensor, mode: str, beyond: str) -> Tensor:
        grid = nn.functional.affine_grid(places, list(layers.shape), align_corners=False)
        return nn.functional.grid_sample(layers, grid, mode, beyond, align_corners=False)

    return moved(pictures.float(), "bilinear", "zeros"), moved(onto.float(), "nearest", "border")

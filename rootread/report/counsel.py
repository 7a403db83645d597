"""What to do next, as the report says it: for one wall, and for a folder without repeating it."""

from collections.abc import Mapping, Sequence
from typing import Any, get_args

from rootread.judge.advice import Advice, Kind
from rootread.report.words import listing
from rootread.wall import RefusedWall, Wall

Item = dict[str, str]
"""``kind``, ``text`` and ``evidence`` of one piece of advice; plain, so that a run can keep it."""

MOST_GROUPS = 6
"""More different pieces of advice than this are left to the pages of the walls."""
MOST_EVIDENCE = 3
"""With more walls than this in a group the evidence is left to their pages."""


def advice_items(wall: Wall | RefusedWall) -> list[Item]:
    """The advice for a wall, the most important first; none for a refused one."""
    if isinstance(wall, RefusedWall):
        return []
    return [_item(advice) for advice in wall.judgement.advice]


def _item(advice: Advice) -> Item:
    return {"kind": advice.kind, "text": advice.text, "evidence": advice.evidence}


def folder_advice(advice: Mapping[str, Sequence[Item]]) -> list[dict[str, Any]]:
    """The first advice of every wall, each different piece said once.

    Parameters
    ----------
    advice : each wall's pieces, by the wall's name.

    Returns
    -------
    Groups of walls that are given the same advice: ``text``, ``walls``,
    ``evidence`` by wall. What asks for something to be done comes first, then
    what holds for more walls; else they keep the order of the walls.
    """
    groups: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for wall, items in advice.items():
        for item in items[:1]:
            groups.setdefault((item["kind"], item["text"]), []).append((wall, item["evidence"]))
    kinds = [kind for kind in get_args(Kind) if kind != "leave"] + ["leave"]
    order = sorted(groups, key=lambda key: (kinds.index(key[0]), -len(groups[key])))
    return [
        {
            "text": text,
            "walls": [wall for wall, _ in groups[kind, text]],
            "evidence": groups[kind, text] if len(groups[kind, text]) <= MOST_EVIDENCE else [],
        }
        for kind, text in order
    ]


def left_over_words(groups: Sequence[dict[str, Any]]) -> str:
    """Which walls are given advice that the summary leaves to their pages."""
    walls = [wall for group in groups[MOST_GROUPS:] for wall in group["walls"]]
    return f"Other advice is given on the pages of {listing(walls)}." if walls else ""

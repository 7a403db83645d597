"""What else than the treatment sets the walls of a contrast apart, by what the sheet says of them."""

import re
from collections.abc import Iterable, Sequence
from datetime import datetime

from rootread.compare.contrast import Contrast
from rootread.compare.names import named
from rootread.compare.units import Growth, Unit
from rootread.fieldsheet import crop_key

DAYS_APART = 14
"""Further apart is told: in a fortnight roots of a growing crop gain a foot or so (common practice)."""
LEAVES_APART = 2
"""Stages this near, as V8 and V9, are days apart, and that may be the treatments' doing."""
DATE_FORMATS = ("%Y-%m-%d", "%m/%d/%Y", "%d/%m/%Y", "%d.%m.%Y")
"""As people and spreadsheets write dates; others are not understood, and nothing is said of them."""


def unlike_words(contrast: Contrast) -> list[str]:
    """Said where walls of different crops or ages are compared; nothing of what the sheet leaves blank."""
    together = _set_against_one_another(contrast)
    told = [] if contrast.by == "crop" else _of_crops(together, contrast)
    return told if contrast.by in ("stage", "date") else told + _of_age(together)


def crops_of(units: Iterable[Unit]) -> list[str]:
    """The crops that the sheet names for these, each as it was first written."""
    return _crop_names(growth for unit in units for growth in unit.growths)


def _set_against_one_another(contrast: Contrast) -> list[list[Growth]]:
    """The walls of each pit where pits are compared with themselves, else all walls together."""
    pit_by_pit = all(pair.paired for pair in contrast.pairs)
    sets: dict[str, list[Growth]] = {}
    for pair in contrast.pairs:
        for unit in pair.units:
            sets.setdefault(unit.pit if pit_by_pit else "", []).extend(unit.growths)
    return list(sets.values())


def _of_crops(together: Sequence[Sequence[Growth]], contrast: Contrast) -> list[str]:
    crops = _crop_names(growth for growths in together for growth in growths)
    if len(crops) < 2:
        return []
    if any(len(_crop_names(growths)) > 1 for growths in together):
        return [
            f"Walls of different crops are compared: {named(crops)}. Roots of each crop go down in their own "
            "way, so what differs may be the crops' doing, not the treatments'."
        ]
    word = contrast.pairs[0].unit_word
    return [
        f"The {word}s are of different crops: {named(crops)}. Each {word} is compared with itself, but what "
        "holds under one crop need not hold under another."
    ]


def _crop_names(growths: Iterable[Growth]) -> list[str]:
    first: dict[str, str] = {}
    for growth in growths:
        if growth.crop:
            first.setdefault(crop_key(growth.crop), growth.crop)
    return sorted(first.values(), key=str.casefold)


def _of_age(together: Sequence[Sequence[Growth]]) -> list[str]:
    """One sentence, of the first walls found that were dug at different ages."""
    for growths in together:
        stages = sorted({growth.stage for growth in growths if growth.stage}, key=_as_counted)
        dates = sorted({growth.date for growth in growths if growth.date})
        # Each crop counts its stages in its own way.
        one_crop = len(_crop_names(growths)) < 2
        found = [named(stages)] if one_crop and _stages_differ(stages) else []
        found += [named(dates)] if _days_apart(dates) > DAYS_APART else []
        if found:
            return [
                f"Walls of different ages are compared: {'; '.join(found)}. Roots go on growing, so what "
                "differs may be their age, not the treatments' doing."
            ]
    return []


def _as_counted(stage: str) -> tuple[int, str]:
    """Puts V4 before V10."""
    return len(stage), stage


def _stages_differ(stages: Sequence[str]) -> bool:
    """Whether these are more than neighbours; stages that are no letter and number differ when written so."""
    parts = [re.fullmatch(r"([a-z]+)\W*(\d+)", stage.casefold()) for stage in stages]
    if all(parts) and len({part[1] for part in parts if part}) == 1:
        leaves = [int(part[2]) for part in parts if part]
        return max(leaves) - min(leaves) > LEAVES_APART
    return len({stage.casefold() for stage in stages}) > 1


def _days_apart(dates: Sequence[str]) -> int:
    """Days from the first to the last; of two ways to read 7/9/2026 the one that sets them less far apart."""
    spans = []
    for form in DATE_FORMATS:
        try:
            days = [datetime.strptime(date, form) for date in dates]
        except ValueError:
            continue
        spans += [(max(days) - min(days)).days] if days else []
    return min(spans, default=0)

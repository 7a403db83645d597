"""Marks are drawn on a photo: they go with it when the sheet gives its wall another name."""

from collections.abc import Iterator, Sequence
from pathlib import Path

SECOND = "second"
"""Folder, within that of the marks, of what a second person drew."""
MOVING = ".moving"
"""Ends the name, hidden by a dot, of marks that have left their place and not come to the new one."""


def second_file(marks_file: Path) -> Path:
    """Where a second person's marks of the same photo lie."""
    return marks_file.parent / SECOND / marks_file.name


def move_marks(moves: Sequence[tuple[Path, Path]]) -> list[str]:
    """Move marks files to the places of their walls' new names, those of a second person with them.

    All leave their places before any arrives, so that walls may change names
    with one another. What lies in a new place and is no wall's here is set
    aside under another name.

    Parameters
    ----------
    moves : from where to where; nothing need lie at the first.

    Returns
    -------
    What was set aside, in words.
    """
    pairs = [pair for old, new in moves for pair in ((old, new), (second_file(old), second_file(new)))]
    there = [(old, new) for old, new in pairs if old.exists()]
    for old, new in there:
        new.parent.mkdir(parents=True, exist_ok=True)
        old.replace(_on_the_way(new))
    return [told for _, new in there for told in _arrive(new)]


def finish_moves(marks_folder: Path) -> list[str]:
    """Finish what ``move_marks`` was kept from, as by a computer that went off; as it returns."""
    begun = [*marks_folder.glob(f".*{MOVING}"), *(marks_folder / SECOND).glob(f".*{MOVING}")]
    places = sorted(place.with_name(place.name[1:].removesuffix(MOVING)) for place in begun)
    return [told for place in places for told in _arrive(place)]


def _on_the_way(place: Path) -> Path:
    return place.with_name(f".{place.name}{MOVING}")


def _arrive(place: Path) -> list[str]:
    """The last step of a move: what lies in the place already is set aside, and told."""
    told = []
    if place.exists():
        aside = next(free for free in _places_aside(place) if not free.exists())
        place.replace(aside)
        told = [
            f"{_shown(place)} held marks of another photo, drawn before; they are kept as {_shown(aside)}."
        ]
    _on_the_way(place).replace(place)
    return told


def _places_aside(place: Path) -> Iterator[Path]:
    number = 1
    while True:
        yield place.with_name(f"{place.stem}-earlier{f'-{number}' if number > 1 else ''}{place.suffix}")
        number += 1


def _shown(place: Path) -> str:
    """``marks/north.json``, or ``second/north.json``."""
    return "/".join(place.parts[-2:])

"""Marks are drawn on a photo: they go with it when the sheet gives its wall another name."""

from collections.abc import Iterator, Sequence
from pathlib import Path

SECOND = "second"
"""Folder, within that of the marks, of what a second person drew."""


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
    for old, _ in there:
        old.replace(_under_way(old))
    said = []
    for old, new in there:
        new.parent.mkdir(parents=True, exist_ok=True)
        if new.exists():
            aside = next(place for place in _places_aside(new) if not place.exists())
            new.replace(aside)
            said.append(
                f"{_shown(new)} held marks of another photo, drawn before; they are kept as {_shown(aside)}."
            )
        _under_way(old).replace(new)
    return said


def _under_way(place: Path) -> Path:
    return place.with_name(f".{place.name}.moving")


def _places_aside(place: Path) -> Iterator[Path]:
    number = 1
    while True:
        yield place.with_name(f"{place.stem}-earlier{f'-{number}' if number > 1 else ''}{place.suffix}")
        number += 1


def _shown(place: Path) -> str:
    """``marks/north.json``, or ``second/north.json``."""
    return "/".join(place.parts[-2:])

"""Photos that lie there twice: a wall that is read from two copies would count as two."""

import hashlib
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path

from rootread import infile
from rootread.store import is_here
from rootread.text import one_line

LARGEST_MB = 1000.0
MOST_TOLD = 5


def told_of_copies(photos: Sequence[Path]) -> list[str]:
    """A sentence for each photo that other files copy byte for byte; in a store none is looked for.

    Only files of one size are read for it, which a folder without copies hardly has.
    """
    sized: dict[int, list[Path]] = defaultdict(list)
    for photo in photos:
        if is_here(photo) and photo.exists():
            sized[photo.stat().st_size].append(photo)
    alike: dict[bytes, list[Path]] = defaultdict(list)
    for size, together in sized.items():
        for photo in together if size and len(together) > 1 else ():
            alike[_content(photo)].append(photo)
    told = []
    for copies in (copies for content, copies in alike.items() if content and len(copies) > 1):
        named = " and ".join(one_line(str(photo), 200) for photo in copies[:MOST_TOLD])
        more = f" and {len(copies) - MOST_TOLD} more" if len(copies) > MOST_TOLD else ""
        told.append(
            f"{named}{more} are one photo. Take all but one away, or the wall counts {_times(len(copies))}."
        )
    return told


def _times(number: int) -> str:
    return "twice" if number == 2 else f"{number} times"


def _content(photo: Path) -> bytes:
    try:
        return hashlib.sha256(infile.content(photo, LARGEST_MB)).digest()
    except OSError:
        # The stage that reads the file says what is wrong with it.
        return b""

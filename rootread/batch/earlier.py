"""Walls in a folder of results that an earlier run wrote and the latest knows nothing of."""

from collections.abc import Iterable
from pathlib import Path

from rootread.fieldsheet.names import listing
from rootread.store import file_stem

MOST_NAMED = 5


def told_of_earlier(out: Path, walls: Iterable[str]) -> str:
    """Whose pictures, traces and records are of an earlier run, in a sentence; blank where none are.

    They are left where they lie: whoever graded another folder into the same place may want them.

    Parameters
    ----------
    out : the folder of results.
    walls : names of those that the latest run is about.
    """
    now = {file_stem(wall) for wall in walls}
    # A wall has its record last of all its files, read or refused.
    earlier = sorted({record.stem for record in (out / "records").glob("*.json")} - now)
    if not earlier:
        return ""
    named = listing(earlier[:MOST_NAMED], len(earlier))
    whose = "its" if len(earlier) == 1 else "their"
    return f"{out} also holds {named} from an earlier run: {whose} files stay, in no table and no report."

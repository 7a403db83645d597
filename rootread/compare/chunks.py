"""Large tables of random numbers, a few rows at a time."""

from collections.abc import Iterator

MOST_NUMBERS = 2_000_000


def chunks(rows: int, width: int) -> Iterator[int]:
    """How many rows to draw at a time, so that memory stays flat however many pits there are."""
    step = max(MOST_NUMBERS // max(width, 1), 1)
    for start in range(0, rows, step):
        yield min(step, rows - start)

"""What the console says of a run while it goes on."""

import time
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from rootread.batch import Record
    from rootread.batch.run import Progress


def progress() -> "Progress":
    """What is told of each wall as it is done, and how long the rest will take at the pace so far."""
    began, read = time.monotonic(), 0

    def say(done: int, total: int, record: "Record") -> None:
        nonlocal read
        if record.kept:
            typer.echo(f"[{done}/{total}] {record.wall['wall']}: as before", err=True)
            return
        read += 1
        what = record.wall["verdict"] if record.wall["status"] == "read" else "refused"
        left = (time.monotonic() - began) / read * (total - done)
        remaining = f", {time_left(left)} left" if left >= 1 else ""
        typer.echo(f"[{done}/{total}] {record.wall['wall']}: {what}{remaining}", err=True)

    return say


def time_left(seconds: float) -> str:
    """In words as fine as anyone needs."""
    if seconds < 100:
        return f"about {seconds:.0f} s"
    return f"about {seconds / 60:.0f} min" if seconds < 6000 else f"about {seconds / 3600:.1f} h"

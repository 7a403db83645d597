"""What the console says beside results: of a run while it goes on, of the desk, of the program."""

import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, NoReturn

import typer

if TYPE_CHECKING:
    from rootread.batch import Record
    from rootread.batch.run import Progress


STOPPED = 130
"""Exit code of what Ctrl+C ended, as shells give it."""


@contextmanager
def stopped_by_hand() -> Iterator[None]:
    """A run that Ctrl+C ends says how to go on."""
    try:
        yield
    except KeyboardInterrupt:
        typer.echo("\nStopped. What was read is kept: give the same command again to go on.", err=True)
        raise typer.Exit(STOPPED) from None


def say_begun(walls: int) -> None:
    """Said at once: the first wall takes ten seconds and more, and a silent console seems to hang."""
    typer.echo(f"Reading {walls} wall{'' if walls == 1 else 's'} ...", err=True)


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


def open_desk(address: str, browser: bool) -> None:
    """Where the desk is and how to close it; opened in the browser if that is wanted."""
    import webbrowser

    typer.echo(f"Desk: {address}")
    if not address.startswith(("http://127.", "http://localhost", "http://[::1]")):
        typer.echo("Beyond this machine it is unencrypted: who sees the address can use it.", err=True)
    typer.echo("Ctrl+C closes it; everything is saved as you go.", err=True)
    if browser:
        webbrowser.open(address)


def end_at_once() -> NoReturn:
    """End without the interpreter's tidying up, which takes the ground from under threads that still work.

    The libraries they work in answer that with a crash. Nothing that was saved is lost: every file is written
    whole or not at all. What was being uploaded may leave its folder behind, whose name begins with a dot.
    """
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(0)


def say_version(wanted: bool) -> None:
    """Which version it is, if that is asked."""
    if wanted:
        from importlib.metadata import version

        typer.echo(f"rootread {version('rootread')}")
        raise typer.Exit

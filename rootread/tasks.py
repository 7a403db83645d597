"""What several commands do, with what is said of it on the console; ``cli.py`` only says which."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from rootread.console import progress, say_begun, stopped_by_hand
from rootread.errors import BadRequest
from rootread.outfile import beside_no_photo

if TYPE_CHECKING:
    from rootread.batch import Run
    from rootread.settings import Settings


def grade_telling(
    places: Sequence[str],
    out: str,
    settings: "Settings",
    jobs: int,
    cluster: str = "",
    pdf: bool = False,
    parquet: bool = False,
    strokes: Path | None = None,
) -> "Run":
    """Grade walls, telling the console of each as it is done and of all at the end.

    Raises
    ------
    BadRequest : as ``plan_walls`` and ``grade_walls``, or ``out`` is one of ``places``.
    """
    from rootread.batch import grade_walls, plan_walls
    from rootread.memory import keep_freed_memory
    from rootread.report import walls_text

    keep_freed_memory()
    beside_no_photo(places, out)
    plan = plan_walls(places, out)
    for message in plan.told:
        typer.echo(message, err=True)
    if strokes:
        from rootread.batch.strokes import taught_by_strokes

        settings = taught_by_strokes(strokes, plan, settings)
    say_begun(len(plan.jobs))
    with stopped_by_hand():
        run = grade_walls(plan, out, settings, jobs, progress(), cluster, parquet, pdf)
    if run.earlier:
        typer.echo(run.earlier, err=True)
    typer.echo(walls_text([record.wall for record in run.records], settings.report.units))
    return run


def contrast_telling(
    folders: Sequence[str],
    by: str,
    pair: str,
    measures: Sequence[str],
    out: str,
    settings: "Settings",
    pdf: bool = False,
) -> None:
    """Compare the treatments of graded folders, and tell the console what they show and where it is drawn.

    Raises
    ------
    BadRequest : as ``contrast_folders``.
    """
    from rootread.compare import contrast_folders, contrast_text, page_there
    from rootread.units import lengths_shown_in

    units, before = settings.report.units, page_there(out)
    contrast, page = contrast_folders(folders, out, by, pair, measures, units, pdf)
    with lengths_shown_in(units):
        typer.echo(contrast_text(contrast))
    typer.echo(f"Page: {page.resolve()}")
    if before and before != page.read_bytes():
        typer.echo("It replaces the page of an earlier contrast there; --out with another folder keeps both.")
    if pdf:
        typer.echo(f"PDF: {page.with_suffix('.pdf').resolve()}")


def settings_of(path: Path | None, units: str | None = None) -> "Settings":
    """Those of a file, or the defaults, with the unit that is asked for, ``in`` or ``cm``.

    Raises
    ------
    BadSettings, BadRequest : the file cannot be understood, or the unit is not known.
    """
    from rootread.settings import Settings, read_settings, shown_with

    settings = read_settings(path) if path else Settings()
    if units is None:
        return settings
    if units not in ("in", "cm"):
        raise BadRequest(f"--units {units} is not known.", "Choose in or cm.")
    return shown_with(settings, units=units)


def with_exports(settings: "Settings", names: str) -> "Settings":
    """Settings that also ask for exports, as ``rsml,svg``.

    Raises
    ------
    BadRequest : one of them is not known.
    """
    if not names:
        return settings
    from rootread.export import wanted_exports
    from rootread.settings import shown_with

    return shown_with(settings, **wanted_exports(names))

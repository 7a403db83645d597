"""The command line: a thin shell over the package's functions.

Everything heavy is imported inside the commands, so that ``--help`` is quick.
Exit codes: 0 all walls read; 1 some refused, the rest done; 2 the request itself is wrong.
"""

import io
import shlex
import sys
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from rootread.console import end_at_once, open_desk, say_version
from rootread.errors import BadRequest, RootreadError
from rootread.infile import refuse_no_file
from rootread.outfile import beside_no_photo, beside_no_tables, out_file, out_folder
from rootread.tasks import contrast_telling, grade_telling, settings_of, with_exports
from rootread.text import one_line

app = typer.Typer(
    add_completion=True,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="Read root architecture from photographs of excavated soil-pit walls.",
    epilog="Begin with: rootread demo",
)

SettingsFile = Annotated[
    Path | None, typer.Option("--settings", help="TOML file; 'rootread settings' prints the defaults.")
]
Jobs = Annotated[int, typer.Option(min=1, help="How many walls to read at once.")]
into_folder = partial(typer.Option, callback=out_folder)
UnitsShown = Annotated[str | None, typer.Option("--units", help="in or cm, for all but the tables.")]
UnitsSaid = Annotated[str | None, typer.Option("--units", help="in or cm.")]


@app.callback()
def rootread(
    version: Annotated[
        bool, typer.Option("--version", callback=say_version, is_eager=True, help="Say which version it is.")
    ] = False,
) -> None:
    """What holds for every command."""


@app.command()
def grade(
    places: Annotated[
        list[str], typer.Argument(metavar="PHOTO_OR_FOLDER", help="Photos, folders, or s3:// addresses.")
    ],
    out: Annotated[str, into_folder(help="Folder or address for tables, pictures and the report.")],
    settings: SettingsFile = None,
    jobs: Jobs = 1,
    cluster: Annotated[str, typer.Option(help="Dask scheduler whose workers are to read the walls.")] = "",
    units: UnitsShown = None,
    pdf: Annotated[bool, typer.Option("--pdf", help="Write the report as PDF too.")] = False,
    parquet: Annotated[bool, typer.Option("--parquet", help="Write the tables as Parquet too.")] = False,
    strokes: Annotated[
        Path | None, typer.Option(help="marks/WALL.json whose strokes teach the finder this field.")
    ] = None,
    export: Annotated[
        str, typer.Option(help="Write each wall's roots too as any of rsml,graphml,svg, in OUT/exports.")
    ] = "",
) -> None:
    """Read and grade walls: tables, pictures and a report.

    Folders within a folder are gone into. A folder's sheet.csv says what is known
    of each photo. What was read before and has not changed is not read again.

    Example: rootread grade sample_images --out graded
    """
    chosen = with_exports(settings_of(settings, units), export)
    run = grade_telling(places, out, chosen, jobs, cluster, pdf, parquet, strokes)
    typer.echo(f"Report: {run.report.resolve()}")
    if pdf:
        typer.echo(f"PDF: {run.report.with_suffix('.pdf').resolve()}")
    raise typer.Exit(1 if run.refused else 0)


@app.command()
def check(
    places: Annotated[list[Path], typer.Argument(metavar="PHOTO_OR_FOLDER", help="Photos or folders.")],
    settings: SettingsFile = None,
    units: UnitsSaid = None,
    json_out: Annotated[bool, typer.Option("--json", help="As JSON, for programs.")] = False,
) -> None:
    """Say whether photos can be read, before the pit is filled in.

    Scale, pixels, sharpness at root size, exposure, shadow edges, tilt, surface,
    and whether sheet and photos fit, each with what to do about it.
    Exit code 1 if a photo should be taken again.

    Example: rootread check sample_images
    """
    import json

    from rootread.batch import plan_walls
    from rootread.check import check_photo, check_summary, check_text, check_values

    plan = plan_walls(places)
    for message in plan.messages:
        typer.echo(message, err=True)
    chosen = settings_of(settings, units)
    checks = []
    for job in plan.jobs:
        checks.append(check_photo(job.photo, job.row, job.marks, chosen, plan.alike))
        if not json_out:
            typer.echo(check_text(checks[-1:]))
    if json_out:
        typer.echo(json.dumps(check_values(checks), indent=1))
    elif summary := check_summary(checks):
        typer.echo(f"\n{summary}")
    raise typer.Exit(1 if any(check.state == "bad" for check in checks) else 0)


@app.command()
def demo(
    out: Annotated[Path, into_folder(help="Folder for what comes out.")] = Path("demo-out"),
    jobs: Jobs = 2,
    units: UnitsShown = None,
) -> None:
    """Grade the sample walls, three pits with a deep and a shallow pass each, and contrast the passes.

    Example: rootread demo
    """
    chosen = settings_of(None, units)
    run = grade_telling([str(_sample_images())], str(out), chosen, jobs)
    typer.echo("")
    contrast_telling([str(out)], "treatment", "pit", (), str(out), chosen)
    typer.echo(f"Report: {run.report.resolve()}")
    raise typer.Exit(1 if run.refused else 0)


@app.command()
def desk(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="Folder of photos; made if it is not there.")
    ] = Path("walls"),
    out: Annotated[
        Path | None, into_folder(help="Folder for the report; FOLDER/results if left out.")
    ] = None,
    host: Annotated[
        str, typer.Option(help="Address to listen on; other than this machine's own only if you mean it.")
    ] = "127.0.0.1",
    port: Annotated[
        int | None, typer.Option(min=0, max=65535, help="8765, or a free one if that is taken.")
    ] = None,
    browser: Annotated[bool, typer.Option(help="Open the page in the browser.")] = True,
    settings: SettingsFile = None,
    units: UnitsShown = None,
) -> None:
    """Open the desk: drop photos, see the readings, mend them by hand, hand over the report.

    What you mend is saved at once to marks/WALL.json beside the photos.

    Example: rootread desk sample_images
    """
    try:
        from rootread.desk.server import serve
    except ModuleNotFoundError as error:
        raise BadRequest(
            f"The desk needs {error.name}, which is not installed.", "Run: pip install 'rootread[desk]'"
        ) from error
    from rootread.desk import Desk

    if out:
        beside_no_photo([str(folder)], str(out))
    made = not folder.exists()
    opened = Desk(folder, settings_of(settings, units), out)
    if made:
        typer.echo(f"There was no folder {folder}; a new one is open: {folder.resolve()}", err=True)
    serve(opened, host, port, lambda address: open_desk(address, browser), end_at_once)
    end_at_once()


@app.command()
def contrast(
    folders: Annotated[list[str], typer.Argument(metavar="DIR", help="Folders that grade wrote.")],
    by: Annotated[str, typer.Option(help="Column that names the treatment.")] = "treatment",
    pair: Annotated[str, typer.Option(help="Column that says which walls belong together.")] = "pit",
    measure: Annotated[
        list[str] | None,
        typer.Option(
            help="grade, descent, passage, tortuosity, sideways or flattened; may be repeated. "
            "All but flattened if left out."
        ),
    ] = None,
    out: Annotated[str | None, into_folder(help="Folder for contrast.html and contrast.csv.")] = None,
    units: UnitsShown = None,
    pdf: Annotated[bool, typer.Option("--pdf", help="Write the page as PDF too.")] = False,
) -> None:
    """Compare treatments over pits: what differs, how sure that is, how many pits it would take.

    The pit is the unit, never the root; pits of different folders are
    different pits. With --pair "" all walls are compared with all.
    A page and a table are written into the first folder.

    Example: rootread contrast demo-out --by treatment --measure grade
    """
    contrast_telling(folders, by, pair, measure or (), out or folders[0], settings_of(None, units), pdf)


@app.command()
def tables(
    folders: Annotated[list[str], typer.Argument(metavar="DIR", help="Folders that grade wrote.")],
    out: Annotated[str, into_folder(help="Folder or address for the tables.")],
    units: UnitsSaid = None,
    parquet: Annotated[bool, typer.Option("--parquet", help="Parquet in place of CSV.")] = False,
) -> None:
    """Put the tables of a season's folders together, with a column for the folder.

    With --units cm lengths are in centimetres, and the columns are called so.

    Example: rootread tables demo-out --out season --units cm
    """
    from rootread.compare import read_season, write_season

    beside_no_tables(folders, out)
    season = read_season(folders, settings_of(None, units).report.units)
    for path in write_season(season, out, parquet):
        typer.echo(str(path))


@app.command()
def card(
    out: Annotated[Path, typer.Option(callback=out_file(".pdf"), help="PDF to write.")] = Path("card.pdf"),
    paper: Annotated[str, typer.Option(help="letter or a4.")] = "letter",
) -> None:
    """Write the scale card as a PDF at true size, with lines to measure after printing.

    Example: rootread card --paper a4 --out card-a4.pdf
    """
    from rootread.plane.card_pdf import write_card_pdf

    if paper not in ("letter", "a4"):
        raise BadRequest(f"--paper {paper} is not known.", "Choose letter or a4.")
    write_card_pdf(out, "letter" if paper == "letter" else "a4")
    typer.echo(f"{out}  Print at 100 %, measure both 6-inch lines, hang it flush on the wall.")


@app.command()
def lens(
    folder: Annotated[
        Path,
        typer.Argument(metavar="FOLDER", help="Photos of a chessboard or of the scale card, one camera."),
    ],
    out: Annotated[Path, into_folder(help="Folder for NAME.toml and NAME.jpg.")] = Path("calibration"),
    name: Annotated[str | None, typer.Option(help="Of the profile; the folder's name without it.")] = None,
    board: Annotated[str, typer.Option(help="Inner corners of the chessboard.")] = "9x6",
) -> None:
    """Measure what a camera's lens bends, and keep it as a profile that grade uses.

    Put ten or more photos into a folder of their own: the board tilted this
    way and that, out to the picture's corners. The profile serves photos
    whose sheet names it in the lens column, and photos whose EXIF shows the
    same camera and focal length. Profiles are looked for in the folders
    calibration and lens, beside the photos and where rootread is run.

    Example: rootread lens chessboard-photos --name phone
    """
    import re

    from rootread.plane.lens import write_profile
    from rootread.plane.lens_measure import measure_lens
    from rootread.report import jpeg
    from rootread.report.lens_picture import draw_lens, lens_words
    from rootread.store import write_bytes

    corners = re.fullmatch(r"(\d+)\s*[x,]\s*(\d+)", board.strip())
    if not corners or min(int(side) for side in corners.groups()) < 3:
        raise BadRequest(f"--board {board} is not known.", "Write its inner corners, such as 9x6.")
    if not folder.is_dir():
        raise BadRequest(f"There is no folder {folder}.", "Name the one with the photos of the board.")
    if name is not None and Path(name).name != name:
        raise BadRequest(f"--name {name} cannot name a file.", "Leave out folders; --out says where it goes.")
    measured = measure_lens(folder, (int(corners[1]), int(corners[2])), name)
    write_bytes(out / f"{measured.profile.name}.jpg", jpeg(draw_lens(measured)))
    write_profile(measured.profile, out / f"{measured.profile.name}.toml")
    typer.echo(lens_words(measured))
    typer.echo(f"{out / measured.profile.name}.toml, with a picture of what remains beside it (.jpg).")


@app.command()
def mask(
    photo: Annotated[Path, typer.Argument(metavar="PHOTO", help="Any photo; no scale object is needed.")],
    out: Annotated[
        Path,
        typer.Option(
            callback=out_file(".png"), help="PNG to write: 0 to 255, in the photo's pixels, upright."
        ),
    ],
    polarity: Annotated[str, typer.Option(help="light: roots. dark: dark lines on paler ground.")] = "light",
) -> None:
    """Write how likely each pixel of a photo shows a root.

    Example: rootread mask sample_images/pit1-deep.jpg --out roots.png
    """
    import cv2
    import numpy as np

    from rootread.find.network import photo_probability
    from rootread.photo import read_photo
    from rootread.store import write_bytes

    if polarity not in ("light", "dark"):
        raise BadRequest(f"--polarity {polarity} is not known.", "Choose light or dark.")
    refuse_no_file(photo, "Name a photo.")
    probability = photo_probability(read_photo(photo).rgb, polarity)
    _, png = cv2.imencode(".png", np.rint(255 * probability).astype(np.uint8))
    write_bytes(out, png.tobytes())
    typer.echo(str(out))


@app.command("settings")
def print_settings(
    settings: Annotated[
        Path | None,
        typer.Option("--settings", help="TOML file to print in place of the defaults, whole and explained."),
    ] = None,
) -> None:
    """Print every setting with its value and what it means, as TOML to edit.

    Give the file back to grade, check or desk with their --settings.

    Example: rootread settings > mine.toml
    """
    from rootread.settings import settings_explained

    typer.echo(settings_explained(settings_of(settings)), nl=False)


@app.command()
def scene(
    out: Annotated[Path, into_folder(help="Folder for NAME.jpg, NAME.png and NAME.json.")],
    seed: Annotated[int, typer.Option(help="Same seed, same wall.")] = 1,
    count: Annotated[int, typer.Option(min=1, help="How many walls, seeds counting up.")] = 1,
    kind: Annotated[str | None, typer.Option(help="open, blocked or mixed; any when left out.")] = None,
    width: Annotated[int, typer.Option(min=600, help="Photo width in pixels.")] = 3000,
) -> None:
    """Make walls with exact truth: photo, mask of the visible roots, and truth.

    Grade the photos, not their masks: rootread grade made/*.jpg --out graded

    Example: rootread scene --out made --seed 7 --count 3 --kind blocked
    """
    import numpy as np

    from rootread.scene import KINDS, draw_scene, render, write_scene

    chosen = next((known for known in KINDS if known == kind), None)
    if kind and not chosen:
        raise BadRequest(f"--kind {kind} is not known.", f"Choose one of {', '.join(KINDS)}.")
    for number in range(seed, seed + count):
        made = draw_scene(np.random.default_rng(number), kind=chosen)
        photo = write_scene(render(made, (width, width * 3 // 4)), out, f"scene-{number}-{made.kind}")
        typer.echo(str(photo))
    photos, graded = f"{shlex.quote(str(out))}/*.jpg", shlex.quote(f"{out}-graded")
    typer.echo(f"To read them: rootread grade {photos} --out {graded}", err=True)


def _sample_images() -> Path:
    """The sample walls: beside the package in a checkout, inside it when installed."""
    package = Path(__file__).parent
    for place in (package.parent / "sample_images", package / "sample_images"):
        if place.is_dir():
            return place
    raise BadRequest("The sample walls are not installed.", "Run from a checkout of rootread.")


def main() -> None:
    """Run the command line; errors raised on purpose become one line and an exit code."""
    for stream in (sys.stdout, sys.stderr):
        # A console that lacks a letter shows a question mark for it, rather than ending the run.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    try:
        app()
    except RootreadError as error:
        for fault in (error, *error.others):
            typer.echo(f"rootread: {fault}", err=True)
        sys.exit(2 if isinstance(error, BadRequest) else 1)
    except OSError as error:
        # Disk full, no leave to write, a name too long: the system's own words, and the place.
        said = one_line(f"{error.filename or 'The system'}: {error.strerror or error}", 300)
        typer.echo(f"rootread: {said}. Check the place and its permissions.", err=True)
        sys.exit(2)
    except MemoryError:
        typer.echo("rootread: Not enough memory. Use fewer --jobs, or save the photo smaller.", err=True)
        sys.exit(2)

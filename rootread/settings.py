"""Every number a person may want to change, with the defaults of the method.

One frozen dataclass a stage, gathered in ``Settings``. A TOML file with the
same section and key names overrides them; an unknown name is an error.
Lengths are inches and angles degrees unless the name says otherwise.

What stands under a setting here is what ``rootread settings`` prints above it
and what ``shared/settings.md`` says of it.
"""

import ast
import dataclasses
import inspect
import itertools
import textwrap
import tomllib
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any, Literal, get_args, get_origin, get_type_hints

from rootread import infile
from rootread.errors import BadSettings
from rootread.fieldsheet.names import nearest

LARGEST_MB = 1.0
COMMENT_WIDTH = 96
LIMITS = (0.0, 1e6)
"""Of a number that does not state its own."""
ASCENDING = (
    ("photo", "min_megapixels", "max_megapixels"),
    ("find", "ridge_low", "ridge_high"),
    ("find", "network_low", "network_high"),
    ("measure", "pattern_low_deg", "pattern_high_deg"),
    ("judge", "turned_from", "slowed_from", "open_from"),
)
"""A section and settings of it of which none may be below the one before it."""


def within(default: Any, low: float, high: float) -> Any:
    """A number with the limits between which the method works; a settings file is held to them."""
    return field(default=default, metadata={"limits": (low, high)})


@dataclass(frozen=True)
class PhotoSettings:
    """Reading the photo."""

    min_megapixels: float = within(0.3, 0, 1000)
    """Smaller photos are refused."""
    max_megapixels: float = within(120.0, 0, 1000)
    """Larger photos are refused."""


@dataclass(frozen=True)
class PlaneSettings:
    """Laying the wall flat."""

    working_px_per_in: float = within(72.0, 14, 600)
    """The flat wall is never finer than this; coarser photos keep their own resolution, and a wall of more
    than 30 megapixels is laid coarser, so that it fits in 2 GB."""
    level: Literal["auto", "card", "staff", "photo", "surface"] = "auto"
    """What tells which way is down: ``auto`` weighs all there is; or ``card``, ``staff``, ``photo`` or
    ``surface`` alone. The sheet's ``level`` goes before it."""


@dataclass(frozen=True)
class FindSettings:
    """Which pixels are root."""

    finder: Literal["ridges", "network"] = "network"
    """``network``, or ``ridges``: plain bright lines, without a network."""
    polarity: Literal["light", "dark"] = "light"
    """Whether roots are ``light`` or ``dark`` against the soil; the ridge finder needs to be told."""
    ridge_low: float = within(2.3, 0, 100)
    """Ridge finder: a line goes on down to this contrast, in the soil's standard deviations ..."""
    ridge_high: float = within(4.0, 0, 100)
    """... where it somewhere reaches this."""
    network_low: float = within(0.4, 0, 1)
    """Network: a root goes on down to this probability, a hair to less ..."""
    network_high: float = within(0.5, 0, 1)
    """... where it somewhere reaches this."""
    ridge_min_piece_in: float = within(0.4, 0, 100)
    """Ridge finder: shorter pieces are left out; crumbs of bare ground look like short ridges."""
    network_min_piece_in: float = within(0.15, 0, 100)
    """Network: shorter pieces are left out; what is left of a root between crumbs is short, and is known by
    what it lines up with."""
    learned: tuple[float, ...] = within((), -1e4, 1e4)
    """What strokes on a photo taught the network of this field; ``grade --strokes`` puts it here."""


@dataclass(frozen=True)
class FollowSettings:
    """From root pixels to whole roots."""

    max_gap_in: float = within(1.5, 0, 12)
    """No wider gap of bare soil is bridged."""
    max_bend_deg: float = within(40.0, 0, 90)
    """No sharper bend is taken across a gap, but where both ends have no likely way straight on."""
    min_length_in: float = within(0.5, 0.1, 100)
    """Shorter roots are left out."""


@dataclass(frozen=True)
class MeasureSettings:
    """The figures."""

    pattern_from: Literal["horizontal", "plumb"] = "horizontal"
    """Whether the growth pattern is stated from ``horizontal`` or from ``plumb``."""
    pattern_low_deg: float = within(30.0, -90, 90)
    """Growth pattern of a root that nothing hinders: from this ..."""
    pattern_high_deg: float = within(35.0, -90, 90)
    """... to this."""
    min_angle_uncertainty_deg: float = within(5.0, 0, 90)
    """Each edge of the growth pattern is softened by this at least."""
    step_in: float = within(0.05, 0.01, 1)
    """Distance of the points along a root's line."""
    smoothing_in: float = within(0.30, 0.01, 6)
    """Span over which the line is smoothed, by a local parabola; keeps 94 % of a wiggle 0.5 in long."""
    tangent_in: float = within(1.0, 0.1, 12)
    """Length over which a root's direction is taken."""
    run_max_descent_deg: float = within(12.0, 0, 90)
    """Sideways run: not steeper than this, up or down ..."""
    run_min_length_in: float = within(1.5, 0.1, 100)
    """... for at least this far ..."""
    run_min_depth_in: float = within(1.0, 0, 100)
    """... deeper than this."""
    turn_max_descent_deg: float = within(12.0, -90, 90)
    """Turn: from there on not steeper than this ..."""
    turn_min_change_deg: float = within(15.0, 0, 180)
    """... and at least this much shallower than before."""
    flattened_ratio: float = within(1.5, 1, 100)
    """Squeezed flat: this many times wider than the root's own taper ..."""
    flattened_min_length_in: float = within(0.5, 0.05, 100)
    """... for at least this far."""
    density_cell_in: float = within(2.0, 0.25, 100)
    """Side of the cells in which root length is counted."""
    counted_width_in: float = within(0.05, 0, 10)
    """Thinner stretches of root do not count toward the wall's descent and shares."""


@dataclass(frozen=True)
class JudgeSettings:
    """Layers and the grade."""

    layer_p_value: float = within(0.05, 0, 1)
    """A layer's roots gather by chance less often than this."""
    layer_min_held: float = within(0.25, 0, 1)
    """A gathering that holds a smaller share of the roots that reach it is no restricting layer."""
    cone_limit_psi: float = within(300.0, 1, 5000)
    """Cone index at which roots hardly grow (about 2 MPa)."""
    permutations: int = within(999, 19, 99999)
    """Shuffles of the depths, from which a layer's chance is told; ten times as many for a close call."""
    bootstrap: int = within(400, 20, 99999)
    """Draws of roots, from which likely ranges are made."""
    seed: int = within(1, 0, 2**32 - 1)
    """Of shuffles and draws; the same seed gives the same result."""
    weight_descent: float = within(0.30, 0, 1)
    """What the roots' descent counts in the grade."""
    weight_passage: float = within(0.30, 0, 1)
    """What their passage through layers counts."""
    weight_straightness: float = within(0.15, 0, 1)
    """What straightness counts."""
    weight_roundness: float = within(0.10, 0, 1)
    """What roundness counts: roots that are not squeezed flat."""
    weight_evenness: float = within(0.15, 0, 1)
    """What evenness across slots and berms counts."""
    open_from: float = within(80.0, 0, 100)
    """Grade from which a wall is called open ..."""
    slowed_from: float = within(60.0, 0, 100)
    """... slowed ..."""
    turned_from: float = within(40.0, 0, 100)
    """... turned; below, stopped."""


@dataclass(frozen=True)
class ReportSettings:
    """How results are shown."""

    units: Literal["in", "cm"] = "in"
    """``in`` or ``cm``, in report, pictures, at the desk and on the console; tables stay in inches."""
    export_rsml: bool = False
    """Write each wall's roots as RSML too, in ``exports/``."""
    export_graphml: bool = False
    """Write the graph of each wall's root pixels as GraphML too."""
    export_svg: bool = False
    """Write each wall's roots as SVG over the photo too."""


@dataclass(frozen=True)
class Settings:
    """All settings of a run."""

    photo: PhotoSettings = field(default_factory=PhotoSettings)
    plane: PlaneSettings = field(default_factory=PlaneSettings)
    find: FindSettings = field(default_factory=FindSettings)
    follow: FollowSettings = field(default_factory=FollowSettings)
    measure: MeasureSettings = field(default_factory=MeasureSettings)
    judge: JudgeSettings = field(default_factory=JudgeSettings)
    report: ReportSettings = field(default_factory=ReportSettings)


def read_settings(path: Path) -> Settings:
    """Settings from a TOML file; what it does not name keeps its default.

    Raises
    ------
    BadSettings : the file is not TOML, or names an unknown section, key or value.
    """
    try:
        given = tomllib.loads(infile.content(path, LARGEST_MB).decode("utf-8"))
    except OSError as error:
        raise BadSettings(
            f"{path}: cannot be opened ({error.strerror or error}).",
            infile.remedy(error, "Check the name."),
        ) from error
    except (ValueError, RecursionError) as error:  # bad text and bad TOML are ValueErrors
        raise BadSettings(f"{path}: not readable as TOML ({error}).", "Mend it or leave it out.") from error
    return settings_from_dict(given, str(path))


def settings_from_dict(given: dict[str, Any], where: str) -> Settings:
    """Settings from ``{section: {key: value}}``; ``where`` names the source in errors.

    >>> cautious = settings_from_dict({"measure": {"run_min_length_in": 2}}, "here")
    >>> cautious.measure.run_min_length_in, cautious.measure.tangent_in
    (2.0, 1.0)

    Raises
    ------
    BadSettings : as ``read_settings``.
    """
    sections: dict[str, Any] = {}
    known = {f.name: f for f in dataclasses.fields(Settings)}
    for name, values in given.items():
        if name not in known or not isinstance(values, dict):
            remedy = nearest(name, known) or f"Known: {', '.join(known)}."
            raise BadSettings(f"{where}: [{name}] is not a section.", remedy)
        section_type = type(getattr(Settings(), name))
        sections[name] = section_type(**_checked(values, section_type, f"{where} [{name}]"))
    settings = Settings(**sections)
    _check_together(settings, where)
    return settings


def shown_with(settings: Settings, **report: object) -> Settings:
    """The settings with these of how results are shown, and all others as they are.

    Raises
    ------
    BadSettings : one of them is not known or out of its limits.
    """
    shown = {"report": asdict(settings.report) | report}
    return replace(settings, report=settings_from_dict(shown, "options").report)


def _checked(values: dict[str, Any], section_type: type, where: str) -> dict[str, Any]:
    hints = get_type_hints(section_type)
    limits = {key.name: key.metadata.get("limits", LIMITS) for key in dataclasses.fields(section_type)}
    checked = {}
    for key, value in values.items():
        if key not in hints:
            remedy = nearest(key, hints) or f"Known: {', '.join(hints)}."
            raise BadSettings(f"{where}: {key} is not a setting.", remedy)
        wanted, fits = _fits(value, hints[key], limits[key])
        if not fits:
            raise BadSettings(f"{where}: {key} = {value!r}.", f"Give {wanted}.")
        kind = get_origin(hints[key]) or hints[key]
        checked[key] = kind(value) if kind in (int, float, tuple) else value
    return checked


def _fits(value: Any, kind: Any, limits: tuple[float, float]) -> tuple[str, bool]:
    """What is wanted, in words, and whether a value is that."""
    if get_origin(kind) is Literal:
        return f"one of {', '.join(get_args(kind))}", isinstance(value, str) and value in get_args(kind)
    if kind is bool:
        return "true or false", isinstance(value, bool)
    low, high = limits
    if get_origin(kind) is tuple:
        each = isinstance(value, list | tuple) and all(_fits(v, float, limits)[1] for v in value)
        return f"numbers from {low:g} to {high:g} in square brackets", each
    wanted = f"{'a whole number' if kind is int else 'a number'} from {low:g} to {high:g}"
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    return wanted, is_number and low <= value <= high and kind(value) == value


def _check_together(settings: Settings, where: str) -> None:
    """What one number alone cannot show."""
    for section, *keys in ASCENDING:
        values = [getattr(getattr(settings, section), key) for key in keys]
        if values != sorted(values):
            raise BadSettings(
                f"{where} [{section}]: {' and '.join(keys)} do not ascend.", "Mend their order."
            )
    judge = settings.judge
    weights = [key.name for key in dataclasses.fields(judge) if key.name.startswith("weight_")]
    if sum(getattr(judge, weight) for weight in weights) <= 0:
        raise BadSettings(f"{where} [judge]: all weights of the grade are 0.", "Give at least one above 0.")


def _toml(value: Any) -> str:
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, bool):
        return str(value).lower()
    return repr(list(value) if isinstance(value, tuple) else value)


def settings_toml(settings: Settings) -> str:
    """The settings as TOML text that ``read_settings`` takes back."""
    return "\n".join(
        f"[{section.name}]\n" + "\n".join(_toml_lines(getattr(settings, section.name))) + "\n"
        for section in dataclasses.fields(settings)
    )


def settings_explained(settings: Settings) -> str:
    """As ``settings_toml``, with what each setting means in a comment above it."""
    lines = _comment("Lengths are inches and angles degrees below horizontal unless the name says otherwise.")
    for section in dataclasses.fields(settings):
        values = getattr(settings, section.name)
        lines += ["", *_comment(type(values).__doc__ or ""), f"[{section.name}]"]
        for meaning, line in zip(meanings(type(values)).values(), _toml_lines(values), strict=True):
            # A sentence that goes on is kept together with its beginning.
            lines += [*([] if meaning.startswith("...") else [""]), *_comment(meaning), line]
    return "\n".join(lines) + "\n"


def settings_markdown(section: str) -> str:
    """A section of the defaults as `shared/settings.md` shows it."""
    values = getattr(Settings(), section)
    rows = [
        f"| `{key}` | `{_toml(getattr(values, key))}` | {meaning.replace('``', '`')} |"
        for key, meaning in meanings(type(values)).items()
    ]
    title = f"## `[{section}]` {(type(values).__doc__ or '').rstrip('.')}"
    return "\n".join([title, "", "| setting | default | meaning |", "|---|---|---|", *rows])


def meanings(section: type) -> dict[str, str]:
    """What stands under each setting of a section, on one line; "" where its source is not at hand.

    Python keeps no docstring of a field, so they are read from the source.
    """
    found = dict.fromkeys((key.name for key in dataclasses.fields(section)), "")
    try:
        source = inspect.getsource(section)
    except OSError:
        return found
    (body,) = (node.body for node in ast.parse(source).body if isinstance(node, ast.ClassDef))
    for named, said in itertools.pairwise(body):
        match named, said:
            case ast.AnnAssign(target=ast.Name(id=key)), ast.Expr(value=ast.Constant(value=str(meaning))):
                found[key] = " ".join(meaning.split())
    return found


def _toml_lines(values: Any) -> list[str]:
    return [f"{key.name} = {_toml(getattr(values, key.name))}" for key in dataclasses.fields(values)]


def _comment(words: str) -> list[str]:
    """Comment lines; a value or command is quoted as TOML quotes words."""
    return textwrap.wrap(
        words.replace("``", '"'),
        COMMENT_WIDTH,
        initial_indent="# ",
        subsequent_indent="# ",
        break_on_hyphens=False,
    )

"""Every number a person may want to change, with the defaults of the method.

One frozen dataclass a stage, gathered in ``Settings``. A TOML file with the
same section and key names overrides them; an unknown name is an error.
Lengths are inches and angles degrees unless the name says otherwise.
"""

import dataclasses
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal, get_args, get_origin, get_type_hints

from rootread import infile
from rootread.errors import BadSettings

LARGEST_MB = 1.0
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
    max_megapixels: float = within(120.0, 0, 1000)


@dataclass(frozen=True)
class PlaneSettings:
    """Scale, level, surface, and the working resolution."""

    working_px_per_in: float = within(72.0, 14, 600)
    """The flat wall is never finer than this; coarser photos keep their own resolution, and a wall of more
    than 30 megapixels is laid coarser, so that it fits in 2 GB."""
    level: Literal["auto", "card", "staff", "photo", "surface"] = "auto"


@dataclass(frozen=True)
class FindSettings:
    """Which pixels are root."""

    finder: Literal["ridges", "network"] = "network"
    polarity: Literal["pale", "dark"] = "pale"
    """Whether roots are paler or darker than the soil; the ridge finder needs to be told."""
    ridge_low: float = within(2.3, 0, 100)
    ridge_high: float = within(4.0, 0, 100)
    """Hysteresis on the ridge's contrast, in standard deviations of the soil's own."""
    network_low: float = within(0.25, 0, 1)
    network_high: float = within(0.75, 0, 1)
    """Hysteresis on the network's root probability."""
    ridge_min_piece_in: float = within(0.4, 0, 100)
    """Shorter pieces are left out: crumbs of bare ground look like short ridges."""
    network_min_piece_in: float = within(0.15, 0, 100)
    """The same; what is left of a root between crumbs is short, and is known by what it lines up with."""
    learned: tuple[float, ...] = within((), -1e4, 1e4)
    """What strokes on a photo taught the network of this field; ``grade --strokes`` puts it here."""


@dataclass(frozen=True)
class FollowSettings:
    """From root pixels to whole roots."""

    max_gap_in: float = within(1.5, 0, 12)
    max_bend_deg: float = within(40.0, 0, 180)
    min_length_in: float = within(0.5, 0.1, 100)


@dataclass(frozen=True)
class MeasureSettings:
    """The definitions of the figures."""

    pattern_from: Literal["horizontal", "plumb"] = "horizontal"
    pattern_low_deg: float = within(30.0, -90, 90)
    pattern_high_deg: float = within(35.0, -90, 90)
    min_angle_uncertainty_deg: float = within(5.0, 0, 90)
    step_in: float = within(0.05, 0.01, 1)
    smoothing_in: float = within(0.30, 0.01, 6)
    """Span of the local parabola through the centreline; keeps 94 % of a wiggle 0.5 in long."""
    tangent_in: float = within(1.0, 0.1, 12)
    run_max_descent_deg: float = within(12.0, 0, 90)
    run_min_length_in: float = within(1.5, 0.1, 100)
    run_min_depth_in: float = within(1.0, 0, 100)
    turn_max_descent_deg: float = within(12.0, -90, 90)
    turn_min_change_deg: float = within(15.0, 0, 180)
    flattened_ratio: float = within(1.5, 1, 100)
    flattened_min_length_in: float = within(0.5, 0.05, 100)
    density_cell_in: float = within(2.0, 0.25, 100)
    counted_width_in: float = within(0.05, 0, 10)
    """Thinner stretches of root do not count toward the wall's descent and shares."""


@dataclass(frozen=True)
class JudgeSettings:
    """Layers and the grade."""

    layer_p_value: float = within(0.05, 0, 1)
    layer_min_held: float = within(0.25, 0, 1)
    """A gathering that holds a smaller share of the roots that reach it is no restricting layer."""
    cone_limit_psi: float = within(300.0, 1, 5000)
    """Cone index at which roots hardly grow (about 2 MPa)."""
    permutations: int = within(999, 19, 99999)
    bootstrap: int = within(400, 20, 99999)
    seed: int = within(1, 0, 2**32 - 1)
    weight_descent: float = within(0.30, 0, 1)
    weight_passage: float = within(0.30, 0, 1)
    weight_straightness: float = within(0.15, 0, 1)
    weight_roundness: float = within(0.10, 0, 1)
    weight_evenness: float = within(0.15, 0, 1)
    open_from: float = within(80.0, 0, 100)
    slowed_from: float = within(60.0, 0, 100)
    turned_from: float = within(40.0, 0, 100)


@dataclass(frozen=True)
class ReportSettings:
    """How results are shown; the tables are in inches whatever is said here."""

    units: Literal["in", "cm"] = "in"
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
    except (OSError, ValueError, RecursionError) as error:  # bad text and bad TOML are ValueErrors
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
            raise BadSettings(f"{where}: [{name}] is not a section.", f"Known: {', '.join(known)}.")
        section_type = type(getattr(Settings(), name))
        sections[name] = section_type(**_checked(values, section_type, f"{where} [{name}]"))
    settings = Settings(**sections)
    _check_together(settings, where)
    return settings


def _checked(values: dict[str, Any], section_type: type, where: str) -> dict[str, Any]:
    hints = get_type_hints(section_type)
    limits = {key.name: key.metadata.get("limits", LIMITS) for key in dataclasses.fields(section_type)}
    checked = {}
    for key, value in values.items():
        if key not in hints:
            raise BadSettings(f"{where}: {key} is not a setting.", f"Known: {', '.join(hints)}.")
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
    lines = []
    for section in dataclasses.fields(settings):
        lines.append(f"[{section.name}]")
        values = getattr(settings, section.name)
        for key in dataclasses.fields(values):
            value = getattr(values, key.name)
            lines.append(f"{key.name} = {_toml(value)}")
        lines.append("")
    return "\n".join(lines)

"""Every number a person may want to change, with the defaults of the method.

One frozen dataclass a stage, gathered in ``Settings``. A TOML file with the
same section and key names overrides them; an unknown name is an error.
Lengths are inches and angles degrees unless the name says otherwise.
"""

import dataclasses
import math
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal, get_args, get_origin, get_type_hints

from rootread.errors import BadSettings


@dataclass(frozen=True)
class PhotoSettings:
    """Reading the photo."""

    min_megapixels: float = 0.3
    max_megapixels: float = 120.0


@dataclass(frozen=True)
class PlaneSettings:
    """Scale, level, surface, and the working resolution."""

    working_px_per_in: float = 72.0
    """The flat wall is never finer than this; coarser photos keep their own resolution."""
    level: Literal["auto", "card", "staff", "photo", "surface"] = "auto"


@dataclass(frozen=True)
class FindSettings:
    """Which pixels are root."""

    finder: Literal["ridges", "network"] = "network"
    polarity: Literal["pale", "dark"] = "pale"
    """Whether roots are paler or darker than the soil; the ridge finder needs to be told."""
    ridge_low: float = 2.3
    ridge_high: float = 4.0
    """Hysteresis on the ridge's contrast, in standard deviations of the soil's own."""
    network_low: float = 0.35
    network_high: float = 0.9
    """Hysteresis on the network's root probability."""
    min_piece_in: float = 0.4


@dataclass(frozen=True)
class FollowSettings:
    """From root pixels to whole roots."""

    max_gap_in: float = 1.5
    max_bend_deg: float = 40.0
    min_length_in: float = 0.5


@dataclass(frozen=True)
class MeasureSettings:
    """The definitions of the figures."""

    pattern_from: Literal["horizontal", "plumb"] = "horizontal"
    pattern_low_deg: float = 30.0
    pattern_high_deg: float = 35.0
    min_angle_uncertainty_deg: float = 5.0
    step_in: float = 0.05
    smoothing_in: float = 0.30
    """Span of the local parabola through the centreline; keeps 94 % of a wiggle 0.5 in long."""
    tangent_in: float = 1.0
    run_max_descent_deg: float = 12.0
    run_min_length_in: float = 1.5
    run_min_depth_in: float = 1.0
    turn_max_descent_deg: float = 12.0
    turn_min_change_deg: float = 15.0
    flattened_ratio: float = 1.5
    flattened_min_length_in: float = 0.5
    density_cell_in: float = 2.0
    counted_width_in: float = 0.05
    """Thinner stretches of root do not count toward the wall's descent and shares."""


@dataclass(frozen=True)
class JudgeSettings:
    """Layers and the grade."""

    layer_p_value: float = 0.05
    layer_min_held: float = 0.25
    """A gathering that holds a smaller share of the roots that reach it is no restricting layer."""
    permutations: int = 999
    bootstrap: int = 400
    seed: int = 1
    weight_descent: float = 0.30
    weight_passage: float = 0.30
    weight_straightness: float = 0.15
    weight_roundness: float = 0.10
    weight_evenness: float = 0.15
    open_from: float = 80.0
    slowed_from: float = 60.0
    turned_from: float = 40.0


@dataclass(frozen=True)
class Settings:
    """All settings of a run."""

    photo: PhotoSettings = field(default_factory=PhotoSettings)
    plane: PlaneSettings = field(default_factory=PlaneSettings)
    find: FindSettings = field(default_factory=FindSettings)
    follow: FollowSettings = field(default_factory=FollowSettings)
    measure: MeasureSettings = field(default_factory=MeasureSettings)
    judge: JudgeSettings = field(default_factory=JudgeSettings)


def read_settings(path: Path) -> Settings:
    """Settings from a TOML file; what it does not name keeps its default.

    Raises
    ------
    BadSettings : the file is not TOML, or names an unknown section, key or value.
    """
    try:
        given = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise BadSettings(f"{path}: not readable as TOML ({error}).", "Mend it or leave it out.") from error
    return settings_from_dict(given, str(path))


def settings_from_dict(given: dict[str, Any], where: str) -> Settings:
    """Settings from ``{section: {key: value}}``; ``where`` names the source in errors."""
    sections: dict[str, Any] = {}
    known = {f.name: f for f in dataclasses.fields(Settings)}
    for name, values in given.items():
        if name not in known or not isinstance(values, dict):
            raise BadSettings(f"{where}: [{name}] is not a section.", f"Known: {', '.join(known)}.")
        section_type = type(getattr(Settings(), name))
        sections[name] = section_type(**_checked(values, section_type, f"{where} [{name}]"))
    return Settings(**sections)


def _checked(values: dict[str, Any], section_type: type, where: str) -> dict[str, Any]:
    hints = get_type_hints(section_type)
    checked = {}
    for key, value in values.items():
        if key not in hints:
            raise BadSettings(f"{where}: {key} is not a setting.", f"Known: {', '.join(hints)}.")
        hint = hints[key]
        if get_origin(hint) is Literal:
            wanted = f"one of {', '.join(get_args(hint))}"
            fits = value in get_args(hint)
        else:
            wanted = "a whole number" if hint is int else "a number"
            is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
            fits = is_number and math.isfinite(value) and hint(value) == value
        if not fits:
            raise BadSettings(f"{where}: {key} = {value!r}.", f"Give {wanted}.")
        checked[key] = hint(value) if hint in (int, float) else value
    return checked


def settings_toml(settings: Settings) -> str:
    """The settings as TOML text that ``read_settings`` takes back."""
    lines = []
    for section in dataclasses.fields(settings):
        lines.append(f"[{section.name}]")
        values = getattr(settings, section.name)
        for key in dataclasses.fields(values):
            value = getattr(values, key.name)
            lines.append(f"{key.name} = " + (f'"{value}"' if isinstance(value, str) else repr(value)))
        lines.append("")
    return "\n".join(lines)

"""Settings change what they name and nothing else; anything unknown is an error."""

import dataclasses
import re
from typing import Any

import pytest

from rootread.errors import BadSettings
from rootread.settings import (
    FollowSettings,
    Settings,
    meanings,
    read_settings,
    settings_explained,
    settings_from_dict,
    settings_toml,
)


@pytest.fixture
def file(tmp_path):
    def write(text):
        path = tmp_path / "settings.toml"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return write


def test_an_empty_file_is_the_defaults(file):
    assert read_settings(file("")) == Settings()


def test_the_defaults_are_those_of_the_method():
    measure = Settings().measure
    assert (measure.pattern_low_deg, measure.pattern_high_deg) == (30, 35)  # common practice, no source
    assert (measure.run_max_descent_deg, measure.run_min_length_in, measure.run_min_depth_in) == (12, 1.5, 1)
    assert (measure.turn_max_descent_deg, measure.turn_min_change_deg) == (12, 15)
    assert (measure.flattened_ratio, measure.flattened_min_length_in) == (1.5, 0.5)
    assert (measure.step_in, measure.tangent_in) == (0.05, 1.0)


def test_the_parts_of_the_grade_add_up_to_the_whole():
    judge = dataclasses.asdict(Settings().judge)
    assert sum(value for name, value in judge.items() if name.startswith("weight_")) == pytest.approx(1.0)


def test_what_a_file_names_is_changed_and_the_rest_kept(file):
    settings = read_settings(file('[measure]\npattern_from = "plumb"\npattern_low_deg = 28\n'))
    assert settings.measure == dataclasses.replace(
        Settings().measure, pattern_from="plumb", pattern_low_deg=28.0
    )
    assert isinstance(settings.measure.pattern_low_deg, float)
    assert dataclasses.replace(settings, measure=Settings().measure) == Settings()


def _changed(value: Any) -> Any:
    if isinstance(value, bool):
        return not value
    if isinstance(value, tuple):
        return (*value, 0.25, -1.5)
    return value if isinstance(value, str) else value + (1 if isinstance(value, int) else 0.01)


def _all_changed() -> Settings:
    """Every setting off its default, whatever settings there are."""
    sections = {}
    for section in dataclasses.fields(Settings):
        default = getattr(Settings(), section.name)
        changed = {name: _changed(value) for name, value in dataclasses.asdict(default).items()}
        sections[section.name] = dataclasses.replace(default, **changed)
    return Settings(**sections)


@pytest.mark.parametrize("settings", [Settings(), _all_changed()])
def test_settings_written_out_read_back_the_same(file, settings):
    assert read_settings(file(settings_toml(settings))) == settings
    assert read_settings(file(settings_explained(settings))) == settings


def test_what_is_printed_says_above_every_setting_what_it_means():
    printed = settings_explained(Settings())
    # Also what a console of any system passes on to a file.
    assert printed.isascii()
    lines = printed.splitlines()
    named = [number for number, line in enumerate(lines) if line and not line.startswith("#")]
    assert [lines[number] for number in named] == settings_toml(Settings()).replace("\n\n", "\n").split("\n")[
        :-1
    ]
    for number in named:
        assert re.fullmatch(r"# .*\w.*", lines[number - 1]), lines[number]
    assert max(len(line) for line in lines) <= 100


def test_a_setting_means_what_stands_under_it_in_the_source():
    assert meanings(FollowSettings)["min_length_in"] == "Shorter roots are left out."
    for section in dataclasses.fields(Settings):
        for name, meaning in meanings(type(getattr(Settings(), section.name))).items():
            assert meaning.endswith((".", "...")), f"{section.name}.{name} is not explained"


def test_without_the_source_at_hand_the_settings_are_printed_all_the_same(file, monkeypatch):
    def gone(_: object) -> str:
        raise OSError("could not get source code")

    monkeypatch.setattr("inspect.getsource", gone)
    assert read_settings(file(settings_explained(Settings()))) == Settings()


@pytest.mark.parametrize(
    ("text", "said", "remedy"),
    [
        ("[mesure]\nstep_in = 1\n", r"\[mesure\] is not a section", "measure"),
        ("step_in = 1\n", r"\[step_in\] is not a section", "measure"),
        ("[measure]\nstep = 1\n", r"\[measure\]: step is not a setting", "step_in"),
        ("[folow]\nx = 1\n", r"\[folow\] is not a section", "Did you mean follow?"),
        ("[follow]\nmax_gapin = 1\n", "max_gapin is not a setting", "Did you mean max_gap_in?"),
        ("[follow]\nqqq = 1\n", "qqq is not a setting", "Known: max_gap_in, "),
        ('[measure]\nstep_in = "fine"\n', "step_in = 'fine'", "a number"),
        ("[measure]\nstep_in = true\n", "step_in = True", "a number"),
        ('[measure]\npattern_from = "up"\n', "pattern_from = 'up'", "horizontal, plumb"),
        ("[judge]\npermutations = 9.5\n", "permutations = 9.5", "whole number"),
        ("[measure\n", "not readable as TOML", "Mend it"),
        (b"\xff\xff", "not readable as TOML", "Mend it"),
    ],
)
def test_a_mistake_is_named_with_what_would_be_right(file, text, said, remedy):
    with pytest.raises(BadSettings, match=said) as refused:
        read_settings(file(text))
    assert remedy in refused.value.remedy
    assert "settings.toml" in refused.value.cause


def test_a_missing_file_is_refused(tmp_path):
    with pytest.raises(BadSettings, match=r"none\.toml: cannot be opened \(No such file"):
        read_settings(tmp_path / "none.toml")
    with pytest.raises(BadSettings, match="cannot be opened"):
        read_settings(tmp_path)


def test_settings_may_come_from_python_too():
    assert (
        settings_from_dict({"plane": {"working_px_per_in": 50}}, "the call").plane.working_px_per_in == 50.0
    )
    with pytest.raises(BadSettings, match="the call"):
        settings_from_dict({"plane": {"working": 50}}, "the call")


@pytest.mark.parametrize("number", ["nan", "inf", "-inf"])
def test_a_number_that_is_none_is_refused(file, number):
    for section, setting in (("measure", "step_in"), ("judge", "permutations")):
        with pytest.raises(BadSettings, match=setting):
            read_settings(file(f"[{section}]\n{setting} = {number}\n"))


@pytest.mark.parametrize(
    "text",
    [
        "[judge]\npermutations = 1000000000\n",
        "[measure]\nstep_in = 0.0\n",
        "[plane]\nworking_px_per_in = -5\n",
        "[judge]\nseed = -1\n",
        "[follow]\nmax_gap_in = nan\n",
    ],
)
def test_a_number_with_which_the_method_cannot_work_is_refused_with_its_limits(file, text):
    with pytest.raises(BadSettings, match=r"Give a (whole )?number from .* to "):
        read_settings(file(text))


@pytest.mark.parametrize(
    "text",
    ["[judge]\nopen_from = 50\n", "[measure]\npattern_high_deg = 20\n", "[find]\nnetwork_low = 0.95\n"],
)
def test_limits_that_cross_are_refused(file, text):
    with pytest.raises(BadSettings, match="do not ascend"):
        read_settings(file(text))


def test_a_grade_of_no_parts_is_refused(file):
    parts = ("descent", "passage", "straightness", "roundness", "evenness")
    text = "[judge]\n" + "".join(f"weight_{part} = 0\n" for part in parts)
    with pytest.raises(BadSettings, match="weights"):
        read_settings(file(text))

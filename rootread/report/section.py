"""One wall's section of the report, as HTML."""

import re
from collections.abc import Sequence
from functools import cache
from typing import Any
from urllib.parse import quote

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from rootread.judge.survival import FEWEST_AT_RISK
from rootread.judge.types import GradePart, Layer
from rootread.judge.verdict import verdict_ranges
from rootread.measure.types import Interval
from rootread.report.colours import descent_table, hex_of, verdict_tone
from rootread.report.counsel import advice_items
from rootread.report.crops import run_crops
from rootread.report.descents import descent_along_wall, descent_by_depth
from rootread.report.detail import (
    abundance_table,
    across_wall,
    around_layers,
    finer_figures,
    profile_wall_table,
    twisting_table,
)
from rootread.report.embed import sheet_uri
from rootread.report.ground import cone_table
from rootread.report.legend import kinds_of_marks
from rootread.report.picture import PAGE_PX, Drawing, draw_apart
from rootread.report.profiles import depth_profile, passage_profile
from rootread.report.room import photo_height_mm
from rootread.report.rose import half_rose, rose_words
from rootread.report.story import (
    cautions,
    key_figures,
    look_again_first,
    safety_of_pit,
    story,
    tells_too_little,
)
from rootread.report.words import (
    between_places,
    interval_words,
    kept_together,
    layer_depth_words,
    passage_likely_words,
    passage_words,
    pattern_words,
    recorded_besides,
    recorded_words,
    score,
    sheet_lines,
)
from rootread.settings import JudgeSettings, Settings
from rootread.shares import odds, percent
from rootread.units import length_words, lengths_shown_in
from rootread.wall import RefusedWall, Wall

RAMP_STEPS = 48
PART_NOTES = {"roundness": ("That is of the roots that count for the grade, the thicker ones.",)}
"""What to add to the reason of a part; "looks squeezed flat" of the key figures is a share of all roots."""


def wall_section(
    wall: Wall | RefusedWall,
    settings: Settings,
    scale_picture: str | None = None,
    drawing: Drawing | None = None,
) -> str:
    """A wall's section: picture, parts of the grade, layers, figures and cautions, or why it was refused.

    ``scale_picture`` is the place of the picture that shows the scale, beside the report; ``drawing``
    is what ``draw_apart`` made of the same wall and settings.
    """
    if isinstance(wall, RefusedWall):
        return template("refused.html").render(
            anchor=anchor(wall.name),
            name=wall.name,
            photo=wall.photo_name,
            sheet=" · ".join(sheet_lines(wall.row)),
            reason=wall.reason,
            remedy=wall.remedy,
        )
    with lengths_shown_in(settings.report.units):
        return _section(wall, settings, scale_picture, drawing or draw_apart(wall, settings))


def _section(wall: Wall, settings: Settings, scale_picture: str | None, drawing: Drawing) -> str:
    grade, readings, judgement = wall.grade, wall.readings, wall.judgement
    told, warned, advice = (
        story(wall, settings),
        [*cautions(wall), *safety_of_pit(wall.row)],
        advice_items(wall),
    )
    keys, figures = kinds_of_marks(wall), _kept(key_figures(wall))
    advised = [(item["text"], item["evidence"]) for item in advice]
    return template("wall.html").render(
        anchor=anchor(wall.name),
        name=wall.name,
        sheet=sheet_lines(wall.row),
        notes=wall.row.notes,
        verdict=grade.verdict,
        tone=verdict_tone(grade.verdict),
        graded=bool(grade.parts),
        grade=score(grade.score.value),
        grade_range=interval_words(grade.score, " and "),
        scale=scale_bar(grade.score, settings.judge),
        story=told,
        cautions=warned,
        advice=advice,
        look_again=look_again_first(wall),
        too_few=tells_too_little(wall),
        photo_mm=photo_height_mm(told, warned, advised, [text for _, text in keys], figures),
        crops=run_crops(wall, drawing),
        thumb=drawing.plane.thumb,
        photo=drawing.plane.page,
        scale_picture=quote(scale_picture) if scale_picture else None,
        marks=sheet_uri(drawing.marks, PAGE_PX),
        ramp=_ramp(),
        keys=[{"kind": kind, "text": text} for kind, text in keys],
        parts=[_part(part) for part in grade.parts],
        layers=[_layer(layer, wall) for layer in wall.layers],
        turned=any(layer.turned for layer in wall.layers),
        layers_struck=len(wall.marks.layers_struck_px),
        recorded=recorded_besides(wall.layers, wall.row),
        around=around_layers(judgement, wall.layers),
        strips=across_wall(judgement.strips, wall.row),
        figures=figures,
        finer=_kept(finer_figures(judgement)),
        abundance=abundance_table(judgement),
        rose_words=rose_words(readings.roots),
        rose=half_rose(readings) if readings.roots else None,
        profile=depth_profile(readings, wall.layers) if readings.roots else None,
        passage=passage_profile(judgement.passage, readings, wall.layers) if readings.roots else None,
        sparse=f"{FEWEST_AT_RISK:.0f}",
        by_depth=descent_by_depth(judgement.by_depth, readings, wall.layers),
        by_place=descent_along_wall(judgement.by_place, readings.pattern, wall.row.shanks_at_in),
        cone=cone_table(wall),
        profile_wall=profile_wall_table(judgement),
        twisting=twisting_table(judgement, wall.layers),
        pattern=pattern_words(settings.measure),
    )


def _kept(figures: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
    """Names and values, of which none is broken between a number and its unit."""
    return [(name, kept_together(value)) for name, value in figures]


def scale_bar(grade: Interval, judge: JudgeSettings) -> Markup:
    """The verdicts along 0 to 100 with the grade and its interval on them; nothing without a grade."""
    low, value, high = grade.low, grade.value, grade.high
    if not 0 <= low <= value <= high <= 100:
        return Markup("")
    text = template("scale.html").render(
        grade=f"{value:.0f}",
        range=f"{low:.0f} and {high:.0f}",
        verdicts=verdict_ranges(judge),
        low=f"{low:.1f}",
        width=f"{high - low:.1f}",
        at=f"{value:.1f}",
    )
    return Markup(text)  # the template has escaped what it was given


def anchor(wall_name: str) -> str:
    """The wall's name as an address within the page; different names stay different."""
    return "wall-" + re.sub(r"[^a-zA-Z0-9-]", lambda found: f"_{ord(found.group()):x}_", wall_name)


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("rootread.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["kept"] = kept_together
    return environment


def template(name: str) -> Any:
    """A template of the report; everything it is given is escaped unless it is ``Markup``."""
    return _environment().get_template(name)


def _ramp() -> list[str]:
    table = descent_table()
    return [hex_of(colour) for colour in table[:: max(len(table) // RAMP_STEPS, 1)]]


def _part(part: GradePart) -> dict[str, Any]:
    return {
        "name": part.name,
        "reason": " ".join([part.reason, *PART_NOTES.get(part.name, ())]),
        "score": score(part.score),
        "weight": percent(part.weight),
        "width": f"{min(max(part.score, 0.0), 100.0):.0f}",
    }


def _layer(layer: Layer, wall: Wall) -> dict[str, Any]:
    words = recorded_words(layer, wall.row)
    return {
        "depth": layer_depth_words(layer),
        "give": length_words(2 * layer.depth_se_in),
        "did": passage_words(layer.reached, layer.crossed, layer.turned, layer.stopped),
        "passage": passage_likely_words(layer),
        "where": f"seen from {between_places(layer.x_from_in, layer.x_to_in, 0)} of the "
        f"{wall.plane.scale.kind}, {length_words(layer.sideways_in, 0)} run sideways",
        "sheet": "not on the sheet" if words == "unrecorded" else f"on the sheet: {words}",
        "chance": f"chance alone would gather roots so {odds(layer.p_value)}"
        if layer.shown_by_roots
        else "marked by hand; roots do not gather there more than chance would have it",
    }

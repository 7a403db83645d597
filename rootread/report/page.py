"""The report: one page that carries everything inside itself, summary first."""

import math
from collections.abc import Collection, Iterator, Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Any

from markupsafe import Markup

from rootread.judge import CAUTIONS
from rootread.judge.verdict import verdict_of, verdict_ranges
from rootread.measure.types import Interval
from rootread.report.colours import verdict_tone
from rootread.report.counsel import MOST_GROUPS, Item, folder_advice, left_over_words
from rootread.report.definitions import definitions_of
from rootread.report.section import anchor, scale_bar, template
from rootread.report.words import count, kept_together, listing
from rootread.schema import Row
from rootread.settings import JudgeSettings, Settings, settings_toml
from rootread.units import length_words, lengths_shown_in

DOT_ROWS = (17.0, 39.0, 61.0, 83.0)
"""Heights, in percent of a treatment's row, on which dots that lie close are spread."""
MOST_NAMES = 8
"""With more walls than this in a treatment the dots go without names."""
NAME_LEFT_FROM = 70.0
"""From this grade on a dot's name stands left of it, so as not to leave the picture."""
MOST_DOTS = 300
"""With more walls than this in a treatment every second, third ... is drawn; more would be one blot."""
MOST_SECTIONS = 60
"""Walls with a section of their own, with pictures half a megabyte each; more would not open on a phone."""
MOST_LISTED = 400
"""Walls in the list; who has more reads walls.csv."""
MOST_NAMED = 12
"""Walls named under one piece of advice."""
DOTS_CLOSE = 22.0
"""Points of grade within which two dots, with their names, would lie on one another."""
FINDER_WORDS = {
    "network": "by a small network that learnt on made walls what a root looks like",
    "ridges": "as narrow ridges that stand out from the soil around them",
}
"""How each finder of the settings tells root from soil."""


def page(
    walls: Sequence[Row],
    sections: Sequence[str],
    settings: Settings,
    out: Path,
    advice: Sequence[Sequence[Item]] = (),
    compared: Sequence[str] = (),
    runs: Sequence[Sequence[str]] = (),
) -> str:
    """The report as HTML; see ``page_parts``."""
    return "".join(page_parts(walls, sections, settings, out, advice, compared, runs))


def page_parts(
    walls: Sequence[Row],
    sections: Sequence[str],
    settings: Settings,
    out: Path,
    advice: Sequence[Sequence[Item]] = (),
    compared: Sequence[str] = (),
    runs: Sequence[Sequence[str]] = (),
) -> Iterator[str]:
    """The report as HTML, piece by piece, so that no more than one wall's pictures are held at a time.

    Parameters
    ----------
    walls : each wall's row of ``walls.csv``.
    sections : what ``wall_section`` made of each wall, in the same order.
    settings : those the walls were read with; they are stated.
    out : the folder the page will lie in; the page names it.
    advice : what ``advice_items`` says of each wall, in the same order.
    compared : what is said of the treatments against one another.
    runs : what ``run_captions`` says of each wall, in the same order.
    """
    order = sorted(range(len(walls)), key=lambda index: _worst_first(walls[index]))
    read = [index for index in order if walls[index]["status"] == "read"]
    refused = [index for index in order if walls[index]["status"] != "read"]
    whole = read[:MOST_SECTIONS]
    linked = {str(walls[index]["wall"]) for index in whole}
    groups = folder_advice({str(walls[index]["wall"]): advice[index] for index in read if advice})
    with lengths_shown_in(settings.report.units):
        summaries = [
            _summary(walls[index], settings, runs[index] if runs else (), linked)
            for index in read[:MOST_LISTED]
        ]
        definitions = definitions_of(settings)
        thinnest = length_words(settings.measure.counted_width_in, 2)
    told = template("page.html").generate(
        title=_title(walls),
        headline=_headline([walls[index] for index in read], len(refused)),
        treatments=_treatments([walls[index] for index in read], linked, settings.judge),
        compared=[kept_together(sentence) for sentence in compared],
        verdicts=verdict_ranges(settings.judge),
        advice=[_advice(group, linked) for group in groups[:MOST_GROUPS]],
        other_advice=_other_advice(groups),
        advice_cautions=CAUTIONS,
        flagged=[summary for summary in summaries if summary["flag"]],
        others=[summary for summary in summaries if not summary["flag"]],
        unlisted=len(read) - len(summaries),
        with_section=len(whole),
        without_section=len(read) - len(whole),
        refused=(Markup(sections[index]) for index in refused[:MOST_LISTED]),
        any_refused=bool(refused),
        unlisted_refused=max(len(refused) - MOST_LISTED, 0),
        sections=(Markup(sections[index]) for index in whole),
        definitions=definitions,
        thinnest=thinnest,
        finder=FINDER_WORDS[settings.find.finder],
        settings_text=settings_toml(settings),
        version=version("rootread"),
        out_name=out.resolve().name,
    )
    yield from (str(part) for part in told)


def _worst_first(wall: Row) -> tuple[bool, float, str]:
    """Flagged walls first, then by grade."""
    return wall["sideways_flag"] != "yes", _number(wall["grade"], 100.0), str(wall["wall"])


def _number(value: str | float | int | None, otherwise: float) -> float:
    return otherwise if value is None else float(value)


def _title(walls: Sequence[Row]) -> str:
    pits = {wall["pit"] for wall in walls if wall["pit"]}
    words = count(len(walls), "pit wall")
    # A wall that names no pit may lie in one of these or in another.
    known = pits and all(wall["pit"] for wall in walls)
    return f"{words} from {count(len(pits), 'pit')}" if known else words


def _headline(read: Sequence[Row], refused: int) -> list[str]:
    """The folder in two or three sentences."""
    lines = []
    if read:
        verdicts = [str(wall["verdict"]) for wall in read]
        words = [f"{verdicts.count(word)} {_as_told(word)}" for word in dict.fromkeys(verdicts)]
        lines.append(f"{count(len(read), 'wall')} read: {listing(words)}.")
        flagged = sum(wall["sideways_flag"] == "yes" for wall in read)
        whole = "the wall" if len(read) == 1 else f"{flagged} of {len(read)} walls"
        lines.append(
            f"Roots ran sideways at a layer on {whole}."
            if flagged
            else "On no wall did roots run sideways at a layer."
        )
    if refused:
        lines.append(f"{count(refused, 'wall')} could not be read; why, and what to do, is said below.")
    return lines


def _as_told(verdict: str) -> str:
    return "without roots" if verdict == "no roots" else verdict


def _summary(wall: Row, settings: Settings, runs: Sequence[str], linked: Collection[str]) -> dict[str, Any]:
    low, high = wall["descent_low"], wall["descent_high"]
    sideways, length = (
        length_words(_number(wall[name], math.nan), 0) for name in ("sideways_in", "root_length_in")
    )
    figures = [f"{sideways} sideways of {length} of root"]
    if wall["descent_deg"] is not None:
        figures.append(f"mean descent {wall['descent_deg']:.0f}°, likely {low:.0f} to {high:.0f}°")
    grade, grade_low, grade_high = (
        _number(wall[name], math.nan) for name in ("grade", "grade_low", "grade_high")
    )
    return {
        "name": wall["wall"],
        "anchor": anchor(str(wall["wall"])),
        "linked": wall["wall"] in linked,
        "runs": runs,
        "sheet": " · ".join(str(wall[name]) for name in ("pit", "treatment") if wall[name]),
        "flag": wall["sideways_flag"] == "yes",
        "verdict": str(wall["verdict"]) + ("" if math.isnan(grade) else f", {grade:.0f}"),
        "tone": verdict_tone(str(wall["verdict"])),
        "scale": scale_bar(Interval(grade, grade_low, grade_high), settings.judge),
        "figures": figures,
    }


def _advice(group: dict[str, Any], linked: Collection[str]) -> dict[str, Any]:
    evidence = dict(group["evidence"])
    walls = [
        {"name": name, "linked": name in linked, "anchor": anchor(name), "evidence": evidence.get(name, "")}
        for name in group["walls"][:MOST_NAMED]
    ]
    return {"text": group["text"], "walls": walls, "more": len(group["walls"]) - len(walls)}


def _other_advice(groups: Sequence[dict[str, Any]]) -> str:
    walls = sum(len(group["walls"]) for group in groups[MOST_GROUPS:])
    return f"{walls} more walls are given other advice." if walls > MOST_NAMED else left_over_words(groups)


def _treatments(read: Sequence[Row], linked: Collection[str], judge: JudgeSettings) -> list[dict[str, Any]]:
    """Each treatment with a dot a wall; none when the sheet names no treatment."""
    graded = [wall for wall in read if wall["grade"] is not None]
    names = sorted({str(wall["treatment"]) for wall in graded if wall["treatment"]})
    if any(not wall["treatment"] for wall in graded) and names:
        names.append("")
    return [
        _treatment(name, [wall for wall in graded if str(wall["treatment"]) == name], linked, judge)
        for name in names
    ]


def _treatment(
    name: str, walls: Sequence[Row], linked: Collection[str], judge: JudgeSettings
) -> dict[str, Any]:
    walls = sorted(walls, key=lambda wall: float(wall["grade"] or 0))
    verdicts = [str(wall["verdict"]) for wall in reversed(walls)]
    words = listing([f"{verdicts.count(word)} {word}" for word in dict.fromkeys(verdicts)])
    every = -(-len(walls) // MOST_DOTS)
    last_in_row = [-100.0] * len(DOT_ROWS)
    dots = []
    for wall in walls[::every]:
        at = float(wall["grade"] or 0)
        # The first height on which nothing lies close, or the one that has been free the longest.
        free = [k for k, last in enumerate(last_in_row) if at - last >= DOTS_CLOSE]
        place = free[0] if free else last_in_row.index(min(last_in_row))
        last_in_row[place] = at
        dots.append(
            {
                "at": f"{at:.1f}",
                "down": DOT_ROWS[place],
                "leftward": at > NAME_LEFT_FROM,
                "linked": wall["wall"] in linked,
                "anchor": anchor(str(wall["wall"])),
                "label": (wall["pit"] or wall["wall"]) if len(walls) <= MOST_NAMES else "",
                # That of the place where it lies: the verdict's own, the worse of two words, would
                # put a dot of one colour between the lines of another.
                "tone": verdict_of(at, judge),
                "says": f"{wall['wall']}: grade {at:.0f}, {wall['verdict']}",
            }
        )
    some = f"; of its {len(walls)} walls one in {every} is drawn" if every > 1 else ""
    return {"name": name or "no treatment named", "words": words + some, "dots": dots}

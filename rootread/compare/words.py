"""A contrast in plain sentences."""

import math
import textwrap
from collections.abc import Sequence

import numpy as np

from rootread.compare.contrast import Contrast, Overall, Pair, contrast_walls
from rootread.compare.effect import LEAST_APIECE, LEAST_PAIRS, LEVEL
from rootread.compare.measures import Row, number
from rootread.compare.names import isolated, named
from rootread.compare.rootmodel import COUNTED_WIDTH_IN, RootModel
from rootread.compare.units import Unit, text
from rootread.compare.unlike import unlike_words
from rootread.measure.intervals import NORMAL_95
from rootread.report.words import count
from rootread.schema import DECIMALS
from rootread.shares import odds, percent
from rootread.units import length_words

WIDTH = 100
GRADES = ("grade", "grade_low", "grade_high")

BY_PIT = "A pit counts once, however many walls and roots were read in it: they share one soil."
BY_WALL = "Each wall counts as if it stood alone; walls of one pit are alike, so p may be too small."
BY_WALL_BEGINS = "By wall:"
CHANCE = "The test takes it that chance, not choice, decided which treatment each wall got."
RANGE_AND_P = (
    "A likely range goes by how much the {word}s vary, p by how chance could have dealt out the treatments: "
    "with few {word}s or many questions a range may leave out 0 though p shows no more than chance. "
    "Then go by p."
)


def contrast_text(contrast: Contrast) -> str:
    """The whole contrast as text for the command line."""
    lines = [*(line for sentence in opening(contrast) for line in _wrapped(sentence)), ""]
    for measure in contrast.measures:
        told = sentences(contrast, measure.name) or ["No wall has this figure."]
        lines += [measure.words, *(line for sentence in told for line in _wrapped(sentence, "  ")), ""]
    lines += [line for sentence in closing(contrast) for line in _wrapped(sentence)]
    return "\n".join(lines)


def grade_words(rows: Sequence[Row]) -> list[str]:
    """What the grades say of the treatments, for the report of one run; nothing without two treatments."""
    if len({text(row, "treatment") for row in rows if row["grade"] is not None} - {""}) < 2:
        return []
    contrast = contrast_walls([_as_tabled(row) for row in rows], measures=("grade",))
    first, *others = sentences(contrast, "grade")
    by_wall = first.startswith(BY_WALL_BEGINS)
    if contrast.overall or by_wall:  # its sentence begins with no name
        first = first[0].lower() + first[1:]
    told = [*opening(contrast), f"Grade {first}" if by_wall else f"Grade: {first}", *others]
    if any(_at_odds(pair) for pair in contrast.pairs) and not few_words(contrast):
        told.append(_range_and_p(contrast))
    return [line[:1].upper() + line[1:] for line in told]


def _as_tabled(row: Row) -> Row:
    """Its grade as ``walls.csv`` gives it back, so that report and contrast say the same figures."""
    found = {name: number(row.get(name)) for name in GRADES}
    tabled = {name: round(value, DECIMALS["0-100"]) for name, value in found.items() if value is not None}
    return {**row, **tabled}


def _wrapped(sentence: str, indent: str = "") -> list[str]:
    return textwrap.wrap(sentence, WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")


def opening(contrast: Contrast) -> list[str]:
    """What was set against what, how, and what else sets the walls apart."""
    first = contrast.pairs[0] if contrast.pairs else None
    if len(contrast.treatments) > 2 or not first:
        told = [f"{named(contrast.treatments)} against one another{_in_pits(contrast)}."]
    else:
        told = [
            f"{isolated(first.first)} against {isolated(first.second)}. {_design(first)}",
            *few_words(contrast),
        ]
    return told + unlike_words(contrast)


def _in_pits(contrast: Contrast) -> str:
    pits = {unit.pit for pair in contrast.pairs for unit in pair.units}
    return f", in {count(len(pits), contrast.pairs[0].unit_word)}" if pits else ""


def _design(pair: Pair) -> str:
    word, pits = pair.unit_word, len({unit.pit for unit in pair.units})
    if pair.paired:
        return f"{count(pits, word)} hold both treatments; each {word} is compared with itself."
    if _one_pit(pair):
        return f"One {word} holds both, and no other tells what is chance."
    apiece = [len(pair.values(name)) for name in (pair.first, pair.second)]
    first, second = isolated(pair.first), isolated(pair.second)
    return f"Not paired: {count(apiece[0], word)} of {first}, {apiece[1]} of {second}."


def few_words(contrast: Contrast) -> list[str]:
    """Said once of two treatments, where no difference however large could be told from chance."""
    pair = contrast.pairs[0]
    if len(contrast.treatments) > 2 or pair.test is None or pair.test.least_p <= LEVEL:
        return []
    word = pair.unit_word
    what = f"{LEAST_PAIRS} {word}s with both" if pair.paired else f"{LEAST_APIECE} {word}s of each"
    return [
        f"So few {word}s cannot tell any difference from chance, however large: p cannot fall below "
        f"{pair.test.least_p:.2g}. It takes at least {what}. A likely range that leaves out 0 does not "
        "change that."
    ]


def closing(contrast: Contrast) -> list[str]:
    """What holds for every sentence."""
    tests = sum(pair.test is not None for pair in contrast.pairs)
    lines = [BY_PIT if contrast.pair else BY_WALL, *_without_pit(contrast), *([CHANCE] if tests else [])]
    if any(pair.test and math.isfinite(pair.effect.low) for pair in contrast.pairs):
        lines.append(_range_and_p(contrast))
    if tests > 1:
        lines.append(
            f"{tests} questions were asked, and p is corrected for that (Holm). If one alone was meant from "
            "the start, ask it alone."
        )
        if any(pair.roots for pair in contrast.pairs) and not contrast.many:
            lines.append("The p of the models root by root is not corrected.")
    if contrast.left_out:
        lines.append(f"Left out, not read or without {contrast.by}: {named(contrast.left_out)}.")
    return lines


def _range_and_p(contrast: Contrast) -> str:
    return RANGE_AND_P.format(word=contrast.pairs[0].unit_word)


def _at_odds(pair: Pair) -> bool:
    """Whether the range leaves out no difference, and the test does not."""
    leaves_out = pair.effect.low > 0 or pair.effect.high < 0
    return leaves_out and pair.test is not None and pair.p_holm >= LEVEL


def _without_pit(contrast: Contrast) -> list[str]:
    """Said, for walls of one pit that do not name it would count as if they were many."""
    walls, one = contrast.without_pit, contrast.without_pit == 1
    if not walls:
        return []
    unnamed = f"{count(walls, 'wall')} {'names' if one else 'name'} no {contrast.pair}"
    return [f"{unnamed}; {'it' if one else 'each'} counts as one of its own. Where walls share one, name it."]


def overall_sentence(overall: Overall, treatments: int) -> str:
    """Whether the treatments differ at all."""
    return (
        f"Over all {treatments} treatments: names dealt out by chance would differ as much "
        f"{odds(overall.test.p_value)} ({p_words(overall.test.p_value)}; F = {overall.f:.2f})."
    )


def pair_sentences(pair: Pair) -> list[str]:
    """What one measure says of two treatments."""
    if pair.test is None:
        return [*_walls_alone(pair), *_needed(pair)]
    told = [_difference(pair), _evidence(pair), *_needed(pair)]
    return told + ([_roots(pair, pair.roots)] if pair.roots else [])


def _difference(pair: Pair) -> str:
    measure = pair.measure
    a, b = (float(pair.values(name).mean()) for name in (pair.first, pair.second))
    effect = pair.effect
    apart = measure.bare(abs(measure.rounded(a) - measure.rounded(b)))
    # What is written as nothing has no side.
    seen = effect.value if float(apart) else 0.0
    names = isolated(pair.first), isolated(pair.second)
    # Beside shares, a bare number would be taken for a share of them.
    points = measure.unit_apart if measure.unit_apart != measure.unit else ""
    # A name that ends in a number, as "deep 14", would run into a figure that came after it.
    words = f"{measure.says(a)} with {names[0]} and {measure.bare(b)} with {names[1]}: "
    words += f"{apart}{points} {_side(seen)}"
    if seen:
        # Two figures stand before it, and the nearer one is not the one meant.
        words += f" with {names[0]}"
    if pair.paired and seen:
        same = int((np.sign(pair.differences) == np.sign(effect.value)).sum())
        words += f", and so in {same} of {count(len(pair.differences), pair.unit_word)}"
    if math.isfinite(effect.low):
        words += f" (likely {measure.says_range(effect.low, effect.high)})"
    return words + "."


def _side(difference: float) -> str:
    return "higher" if difference > 0 else "lower" if difference < 0 else "apart"


def _evidence(pair: Pair) -> str:
    assert pair.test is not None
    p = pair.test.p_value
    chance = f"If the treatments did nothing, a difference as large would come {odds(p)} ({p_words(p)}"
    if pair.p_holm != p:
        chance += f"; corrected {p_words(pair.p_holm)}"
    return f"{chance}): {_verdict(pair)}."


def _verdict(pair: Pair) -> str:
    assert pair.test is not None
    if pair.p_holm < LEVEL:
        return "the treatments differ"
    if pair.test.p_value == pair.test.least_p > LEVEL:
        return f"no stronger sign can come from so few {pair.unit_word}s"
    if pair.test.p_value < LEVEL:
        return "a hint, but no more when so many questions are asked"
    return "no evidence that the treatments differ"


def _walls_alone(pair: Pair) -> list[str]:
    one, other = (
        [unit for unit in pair.units if unit.treatment == name] for name in (pair.first, pair.second)
    )
    if len(one) > 1 or len(other) > 1:
        alone = isolated(pair.first if len(one) == 1 else pair.second)
        alone_words = (
            f"Of {alone} there is one {pair.unit_word} alone, so nothing can be said of the treatments."
        )
        return [_difference(pair), alone_words]
    says = pair.measure.says
    names = [
        f"{named(unit.walls)} ({isolated(unit.treatment)}) {says(unit.value)}" for unit in (one[0], other[0])
    ]
    few = all(len(unit.walls) == 1 for unit in (one[0], other[0]))
    what = "two walls" if few else "two places"
    return [
        f"{BY_WALL_BEGINS} {names[0]}, {names[1]}: these {what} {_as_read(one[0], other[0])}. "
        f"Nothing can be said of the treatments: another {pair.unit_word} might have shown the opposite."
    ]


def _as_read(one: Unit, other: Unit) -> str:
    apart = abs(one.value - other.value)
    unsure = NORMAL_95 * math.hypot(one.se, other.se)
    if not math.isfinite(unsure):
        return "differ" if apart else "are alike"
    return "differ" if apart > unsure else "differ by no more than reading them is unsure by"


def _needed(pair: Pair) -> list[str]:
    """How many pits it takes, unless the difference is there to see already."""
    if pair.test and pair.test.p_value < LEVEL:
        return []
    aim = f"a difference of {pair.measure.aim}"
    both = pair.paired or _one_pit(pair)
    what = f"{pair.unit_word}s {'with both treatments' if both else 'of each treatment'}"
    if pair.pits_needed is None:
        if not pair.spread_known:
            return [f"How many pits would show {aim} cannot be told before a few were dug."]
        return [f"The {pair.unit_word}s vary so much that not even a thousand would show {aim} for sure."]
    if pair.test and min(len(pair.values(name)) for name in (pair.first, pair.second)) >= pair.pits_needed:
        return [f"Had they differed by {pair.measure.aim}, it would most likely show."]
    if pair.spread_known:
        return [f"To see {aim} 8 times in 10 takes about {pair.pits_needed} {what}, as these vary."]
    return [f"To see {aim} 8 times in 10 takes at least {pair.pits_needed} {what}, more if they vary."]


def _one_pit(pair: Pair) -> bool:
    return len({unit.pit for unit in pair.units}) == 1


def _roots(pair: Pair, roots: RootModel) -> str:
    measure = pair.measure
    return (
        f"Root by root, over the {roots.roots} that are {length_words(COUNTED_WIDTH_IN, 2)} wide or more, "
        f"allowing for what roots of one {pair.unit_word} or wall share: {measure.bare(roots.effect, True)} "
        f"({measure.says_range(roots.low, roots.high)}), {p_words(roots.p_value)}. Of what makes these roots "
        f"differ, {percent(roots.alike)} goes with the wall they are in ({roots.walls} walls), the rest with "
        "the root itself."
    )


def p_words(p_value: float) -> str:
    """``p = 0.031``; no more digits than mean something."""
    return f"p = {p_value:.2g}" if p_value >= 0.001 else "p < 0.001"


def sentences(contrast: Contrast, name: str) -> Sequence[str]:
    """All that one measure says, for the page."""
    overall = contrast.overall.get(name)
    told = [overall_sentence(overall, len(contrast.treatments))] if overall else []
    pairs = [pair for pair in contrast.pairs if pair.measure.name == name]
    if contrast.many:
        return told + _many_pairs(pairs)
    return told + [line for pair in pairs for line in pair_sentences(pair)]


def _many_pairs(pairs: Sequence[Pair]) -> list[str]:
    """Of many pairs those that differ, and of the others together what they say."""
    tested = [pair for pair in pairs if pair.test]
    if not tested:
        return [f"No two treatments have {pair.unit_word}s enough to compare them." for pair in pairs[:1]]
    sure = [pair for pair in tested if pair.p_holm < LEVEL]
    told = [f"{_difference(pair)[:-1]}, corrected {p_words(pair.p_holm)}." for pair in sure]
    others = [pair for pair in tested if pair not in sure]
    chance = "beyond what chance alone would make when so many are compared"
    if sure and others:
        told.append(f"Of the other {count(len(others), 'pair')} of treatments none differs {chance}.")
    elif others:
        told.append(f"Of {count(len(others), 'pair')} of treatments none differs {chance}.")
    return told + _needed_by_many(others)


def _needed_by_many(pairs: Sequence[Pair]) -> list[str]:
    known = [pair for pair in pairs if pair.pits_needed is not None and pair.spread_known]
    if not known:
        return []
    least, most = (end(pair.pits_needed or 0 for pair in known) for end in (min, max))
    number = f"{least}" if least == most else f"{least} to {most}"
    word, both = known[0].unit_word, all(pair.paired for pair in known)
    what = f"{word}s {'with both treatments' if both else 'of each treatment'}"
    return [
        f"To see a difference of {known[0].measure.aim} between two of them 8 times in 10 takes about "
        f"{number} {what}, as these vary."
    ]

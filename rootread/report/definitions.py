"""What the words on the report's pages mean, with the numbers of its run."""

from rootread.judge.grade import FLATTENED, FREEDOM, STRAIGHT, part_shares
from rootread.judge.scores import STRAIGHTNESS_SPAN_IN
from rootread.measure.counting import FULL_FROM_IN
from rootread.report.words import listing, pattern_words
from rootread.settings import JudgeSettings, MeasureSettings, Settings
from rootread.shares import percent
from rootread.units import length_words


def definitions_of(settings: Settings) -> list[tuple[str, str]]:
    """What the words on the page mean, with the numbers of this run."""
    measure, judge = settings.measure, settings.judge
    return [
        (
            "descent",
            f"How steeply a root goes down, in degrees below level. The {pattern_words(measure)}. The wall's "
            f"mean is over the length of roots {length_words(measure.counted_width_in, 2)} and more wide; "
            f"those under {length_words(FULL_FROM_IN, 0)} long and doubtful ones count for less.",
        ),
        (
            "against the growth pattern",
            "Shallower or steeper is what lies outside it by more than the wall's angles may be off by, "
            f"{measure.min_angle_uncertainty_deg:.0f}° at least. Thin roots are left out, as of the mean "
            "descent.",
        ),
        ("sideways run", _run_words(measure)),
        (
            "layer",
            "A depth at which turns, runs and stops gather more than chance would have it "
            f"(less than {100 * judge.layer_p_value:.0f} times in 100 if depths were shuffled).",
        ),
        (
            "passage",
            "Of the roots that come to a layer, the share that cross it without turning or stopping; of a "
            "wall, the share that get down all of it so.",
        ),
        (
            "straightness",
            f"The straight distance over each {length_words(STRAIGHTNESS_SPAN_IN, 0)} of root against the "
            "length along it. A whole root's length against the line between its ends is its tortuosity.",
        ),
        (
            "roundness",
            "The share of root that does not look squeezed flat. What does, over "
            f"{length_words(measure.flattened_min_length_in)} or more, is told by its chance: how far it is "
            f"wider than the root's own taper ({measure.flattened_ratio:g} times as wide is flat), how "
            "little the light falls off across it, and whether it left its course to go upright. Most single "
            "stretches are missed, and more than half of those said are none; calipers say it surely.",
        ),
        (
            "flattened in a crack",
            "A flattened stretch that leaves its root's course to go upright, as cracks do, or along or "
            "beyond which a dark crack shows. A root hides the crack it fills, so most are told by their "
            "course alone.",
        ),
        (
            "evenness",
            "Whether the slots that shanks opened and the berms between them look alike; thirds of the wall "
            "where the sheet does not say where shanks went.",
        ),
        ("grade", _grade_words(judge)),
        ("score of a part", _score_words()),
    ]


def _grade_words(judge: JudgeSettings) -> str:
    shares = listing([f"{name} {percent(share)}" for name, share in part_shares(judge).items()])
    return (
        f"0 to 100, made of {shares}. Open from {judge.open_from:g}, slowed from {judge.slowed_from:g}, "
        f"turned from {judge.turned_from:g}, else stopped. Two words mean that the likely range spans both."
    )


def _score_words() -> str:
    """What of each part scores nothing and everything."""
    least_free, most_free = map(percent, FREEDOM)
    least_straight, most_straight = map(percent, STRAIGHT)
    return (
        f"Descent has 0 where roots kept {least_free} of a free descent and 100 from {most_free} on, "
        f"straightness 0 at {least_straight} and 100 from {most_straight} on, roundness 0 where "
        f"{percent(FLATTENED[0])} looks flattened and 100 where nothing does; passage is its own score. "
        "Evenness falls as descent and passage of the worst strip fall below those of the whole wall."
    )


def _run_words(measure: MeasureSettings) -> str:
    return (
        f"A stretch of root within {measure.run_max_descent_deg:.0f}° of level for at least "
        f"{length_words(measure.run_min_length_in)}, deeper than {length_words(measure.run_min_depth_in)}."
    )

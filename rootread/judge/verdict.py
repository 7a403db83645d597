"""The grade in a word, no sharper than its interval allows."""

from rootread.judge.types import Verdict
from rootread.measure.types import Interval
from rootread.settings import JudgeSettings

WORST_FIRST: tuple[Verdict, ...] = ("stopped", "turned", "slowed", "open")


def verdict_of(score: float, settings: JudgeSettings) -> Verdict:
    """The word for one score."""
    edges = (settings.turned_from, settings.slowed_from, settings.open_from)
    return WORST_FIRST[sum(score >= edge for edge in edges)]


def verdict_words(score: Interval, settings: JudgeSettings) -> str:
    """Every word that the interval reaches, best first: "open", "slowed or turned"."""
    worst = WORST_FIRST.index(verdict_of(score.low, settings))
    best = WORST_FIRST.index(verdict_of(score.high, settings))
    return " or ".join(reversed(WORST_FIRST[worst : best + 1]))

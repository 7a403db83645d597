"""The grade in a word, no sharper than its interval allows."""

from dataclasses import dataclass

from rootread.judge.types import Verdict
from rootread.measure.types import Interval
from rootread.settings import JudgeSettings

WORST_FIRST: tuple[Verdict, ...] = ("stopped", "turned", "slowed", "open")


@dataclass(frozen=True)
class VerdictRange:
    """The grades, of 0 to 100, that one word covers."""

    word: Verdict
    low: float
    high: float

    @property
    def width(self) -> float:
        """``high - low``; 0 where the settings leave the word no room."""
        return self.high - self.low


def verdict_ranges(settings: JudgeSettings) -> tuple[VerdictRange, ...]:
    """What each word covers, the worst first."""
    edges = (0.0, settings.turned_from, settings.slowed_from, settings.open_from, 100.0)
    return tuple(
        VerdictRange(word, low, high)
        for word, low, high in zip(WORST_FIRST, edges[:-1], edges[1:], strict=True)
    )


def verdict_of(score: float, settings: JudgeSettings) -> Verdict:
    """The word for one score."""
    return WORST_FIRST[sum(score >= covered.low for covered in verdict_ranges(settings)[1:])]


def verdict_words(score: Interval, settings: JudgeSettings) -> str:
    """Every word that the interval reaches, best first: "open", "slowed or turned"."""
    worst = WORST_FIRST.index(verdict_of(score.low, settings))
    best = WORST_FIRST.index(verdict_of(score.high, settings))
    return " or ".join(reversed(WORST_FIRST[worst : best + 1]))

"""What a check says: one finding a question, each with what to do about it."""

from dataclasses import dataclass
from typing import Literal

State = Literal["good", "look", "bad"]
"""good: nothing to do; look: readable, but a better photo would say more; bad: take it again."""
WORST_FIRST: tuple[State, ...] = ("bad", "look", "good")


@dataclass(frozen=True)
class Finding:
    """The answer to one question about the photo."""

    question: str
    state: State
    seen: str
    """What was found, with the figure."""
    remedy: str = ""
    """What to do; empty when good."""


@dataclass(frozen=True)
class PhotoCheck:
    """All findings on one photo."""

    photo: str
    wall: str
    findings: tuple[Finding, ...]
    seconds: float

    @property
    def state(self) -> State:
        """The worst of the findings."""
        states = {finding.state for finding in self.findings}
        return next((state for state in WORST_FIRST if state in states), "good")

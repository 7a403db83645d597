"""A check as text for people and as plain values for programs."""

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from rootread.check.types import PhotoCheck

SIGNS = {"good": "ok  ", "look": "LOOK", "bad": "BAD "}


def check_text(checks: Sequence[PhotoCheck]) -> str:
    """A block a photo: what is not good with its remedy, then what is."""
    blocks = []
    for check in checks:
        lines = [f"{SIGNS[check.state]}  {_named(check)}"]
        for finding in check.findings:
            lines.append(f"    {SIGNS[finding.state]}  {finding.question:12}  {finding.seen}")
            if finding.remedy:
                lines.append(f"          {'':12}  -> {finding.remedy}")
        blocks.append("\n".join(lines))
    return "\n".join(blocks)


def check_summary(checks: Sequence[PhotoCheck]) -> str:
    """Which of several photos to take again and which to look at; blank for one photo or none."""
    if len(checks) < 2:
        return ""
    good = sum(check.state == "good" for check in checks)
    lines = [f"{good or 'None'} of {len(checks)} photos {'is' if good < 2 else 'are'} ok all through."]
    for state, what in (("look", "Can be read, but look"), ("bad", "Take again")):
        named = [_named(check) for check in checks if check.state == state]
        if named:
            lines.append(f"{what}: {', '.join(named)}")
    return "\n".join(lines)


def _named(check: PhotoCheck) -> str:
    """The photo, and its wall where that is called otherwise: cameras use one name in every folder."""
    return check.photo if Path(check.photo).stem == check.wall else f"{check.photo} ({check.wall})"


def check_values(checks: Sequence[PhotoCheck]) -> list[dict[str, Any]]:
    """The same as values that JSON can carry."""
    return [asdict(check) | {"state": check.state} for check in checks]

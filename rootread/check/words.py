"""A check as text for people and as plain values for programs."""

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from rootread.check.types import PhotoCheck

SIGNS = {"good": "ok  ", "look": "LOOK", "bad": "BAD "}


def check_text(checks: Sequence[PhotoCheck]) -> str:
    """A block a photo: what is not good with its remedy, then what is."""
    blocks = []
    for check in checks:
        lines = [f"{SIGNS[check.state]}  {check.photo}"]
        for finding in check.findings:
            lines.append(f"    {SIGNS[finding.state]}  {finding.question:12}  {finding.seen}")
            if finding.remedy:
                lines.append(f"          {'':12}  -> {finding.remedy}")
        blocks.append("\n".join(lines))
    return "\n".join(blocks)


def check_values(checks: Sequence[PhotoCheck]) -> list[dict[str, Any]]:
    """The same as values that JSON can carry."""
    return [asdict(check) | {"state": check.state} for check in checks]

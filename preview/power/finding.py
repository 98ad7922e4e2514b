"""What a careful colleague finds in a plan: one finding with its weight, what it is about, what to do and where the rule comes from.

A *fault* is wrong whatever plays; *over* is a limit that the planned looks pass; a *caution* may turn into either; a *note* is good to
know.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from typing import Literal, get_args

__all__ = ["PRACTICE", "WEIGHTS", "Finding", "Weight", "breaks_a_limit", "by_weight", "merged"]

Weight = Literal["fault", "over", "caution", "note"]
WEIGHTS: tuple[Weight, ...] = get_args(Weight)
"""From the heaviest to the lightest."""

PRACTICE = "common practice, no source"
"""The source of what the trade does and no published text was seen for."""


@dataclass(frozen=True)
class Finding:
    """One thing found.

    `about` names a part of the plan as the meter does: "supply psu", "feed 2 (psu to shelf at 0 m)", "look dusk", "plan".
    """

    weight: Weight
    about: str
    says: str
    do: str
    source: str

    def as_json(self) -> dict[str, str]:
        """One entry of "findings" in the check's JSON, format 1."""
        return asdict(self)


def by_weight(findings: Iterable[Finding]) -> list[Finding]:
    """Heaviest first; those of one weight keep their order.

    >>> note, fault = (Finding(w, "plan", "", "", "") for w in ("note", "fault"))
    >>> [f.weight for f in by_weight([note, fault])]
    ['fault', 'note']
    """
    return sorted(findings, key=lambda finding: WEIGHTS.index(finding.weight))


def merged(findings: Iterable[Finding]) -> list[Finding]:
    """Findings that say the same of several parts as one that names them all.

    >>> merged([Finding("note", about, "live", "switch off", "") for about in ("supply a", "supply b")])[0].about
    'supply a, supply b'
    """
    found: dict[tuple[str, str, str, str], list[Finding]] = {}
    for finding in findings:
        found.setdefault((finding.weight, finding.says, finding.do, finding.source), []).append(finding)
    return [replace(alike[0], about=", ".join(dict.fromkeys(f.about for f in alike))) for alike in found.values()]


def breaks_a_limit(findings: Iterable[Finding]) -> bool:
    """Whether any of them is a fault or passes a limit."""
    return any(finding.weight in ("fault", "over") for finding in findings)

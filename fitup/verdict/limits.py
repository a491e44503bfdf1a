"""The limit: what every rule allows, and how one of them becomes the widest gap that may be left."""

from __future__ import annotations

from dataclasses import dataclass

from fitup.errors import UsageError
from fitup.verdict.lengths import format_mm
from fitup.verdict.shop_rules import LARGEST_LIMIT_MM, check_limit

__all__ = ["LARGEST_LIMIT_MM", "PROCEDURE", "Candidate", "Limit", "NotApplied", "combine"]

PROCEDURE = "procedure"


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """What one rule allows in this joint."""

    code: str
    """The rule's stable name."""
    question: str
    """What the rule asks."""
    limit_mm: float
    """Widest gap that it allows [mm]; 0 where it does not even allow a closed joint."""
    formula: str
    """How that comes about, with the numbers put in and their units."""
    source: str
    """Where rule and numbers come from."""
    words: str = ""
    """The same in short, where the formula is too long for a report's sentence."""
    remedy: str = ""
    """Of a limit of 0, what would make it larger."""

    @property
    def sentence(self) -> str:
        """The rule's result as a report says it."""
        return f"{self.code} rule: {self.words or self.formula} ({self.source})"


@dataclass(frozen=True, kw_only=True)
class NotApplied:
    """A rule that does not bound the gap of this joint, and why: not its business, or a number lacks."""

    code: str
    question: str
    reason: str


@dataclass(frozen=True, kw_only=True)
class Limit:
    """The widest gap that the joint may have, and how that number comes about.

    Raises
    ------
    UsageError
        When the limit is no number above 0 and up to 10 mm.
    """

    limit_mm: float
    rule: str
    """Code of the rule that set the limit."""
    sentence: str
    """How the limit comes about, with the numbers put in."""
    candidates: tuple[Candidate, ...] = ()
    """What every rule that applies would allow, the deciding one included."""
    not_applied: tuple[NotApplied, ...] = ()
    """The other rules, and why each does not apply."""

    def __post_init__(self) -> None:
        check_limit(self.limit_mm, "the gap limit")


def combine(candidates: tuple[Candidate, ...], not_applied: tuple[NotApplied, ...] = ()) -> Limit:
    """Choose the limit: the procedure's when there is one, else the smallest of those that apply.

    Raises
    ------
    UsageError
        When no rule applies, or the one that decides allows not even a closed joint.
    """
    if not candidates:
        reasons = "; ".join(f"{rule.code}: {rule.reason}" for rule in not_applied)
        raise UsageError(f"no rule gives this joint a limit ({reasons}): give one with --limit.")
    smallest = min(candidates, key=lambda candidate: candidate.limit_mm)
    decisive = next((each for each in candidates if each.code == PROCEDURE), smallest)
    if decisive.limit_mm <= 0:
        raise UsageError(f"not even a closed joint meets the {decisive.sentence}: {decisive.remedy}.")
    sentence = decisive.sentence
    if decisive.limit_mm > smallest.limit_mm:
        sentence += f"; this is above the {smallest.code} limit of {format_mm(smallest.limit_mm)}"
    return Limit(
        limit_mm=decisive.limit_mm,
        rule=decisive.code,
        sentence=sentence,
        candidates=candidates,
        not_applied=not_applied,
    )

"""The fillable gap: every rule gives a candidate limit with its reason, one of them becomes the limit.

A rule is one small object with a stable code, the question it answers, its source, and `candidate`, which
puts the numbers in. Another rule (or another joint kind) is one more class (or one more word), nothing else.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

from fitup.errors import UsageError
from fitup.joint import JointKind, JointSetup
from fitup.verdict.lengths import format_mm, format_number
from fitup.verdict.wires import Wire

__all__ = [
    "LARGEST_LIMIT_MM",
    "BridgeRule",
    "Candidate",
    "JointKind",
    "Limit",
    "ProcedureRule",
    "combine",
    "fillable_gap",
]

# Far above what any wire of this trade bridges: a larger limit is a slip of the unit or the decimal point.
LARGEST_LIMIT_MM = 10.0
_LARGEST_BRIDGE_FACTOR = 3.0


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """What one rule allows: its code, question, limit [mm], formula with the numbers put in, and source."""

    code: str
    question: str
    limit_mm: float
    formula: str
    source: str


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
    """Code of the rule that set the limit: "bridge" or "procedure"."""
    sentence: str
    """How the limit comes about, with the numbers put in."""
    candidates: tuple[Candidate, ...] = ()
    """What every rule that applies would allow, the deciding one included."""

    def __post_init__(self) -> None:
        _check_limit(self.limit_mm, "the gap limit")


@dataclass(frozen=True)
class BridgeRule:
    """Bridge: the gap is at most `factor` times the wire diameter."""

    factor: float = 1.0
    code: ClassVar[str] = "bridge"
    question: ClassVar[str] = "Can the molten wire bridge the gap?"
    source: ClassVar[str] = "common practice, no source"

    def __post_init__(self) -> None:
        if not 0 < self.factor <= _LARGEST_BRIDGE_FACTOR:  # also false for NaN
            raise UsageError(
                f"the bridge factor must be above 0 and at most {_LARGEST_BRIDGE_FACTOR:g}, "
                f"not {self.factor:g}."
            )

    def candidate(self, wire: Wire, joint_kind: JointKind) -> Candidate:
        """Factor times wire diameter, alike for all joints."""
        limit_mm = self.factor * wire.diameter_mm
        return Candidate(
            code=self.code,
            question=self.question,
            limit_mm=limit_mm,
            formula=(
                f"{format_number(self.factor)} × wire {format_mm(wire.diameter_mm)} = {format_mm(limit_mm)} "
                f"in {joint_kind.in_words}"
            ),
            source=self.source,
        )


@dataclass(frozen=True)
class ProcedureRule:
    """Procedure: an absolute limit from the shop's procedure for this joint; it always wins."""

    limit_mm: float
    code: ClassVar[str] = "procedure"
    question: ClassVar[str] = "What does the procedure for this joint allow?"
    source: ClassVar[str] = "given by the user"

    def __post_init__(self) -> None:
        _check_limit(self.limit_mm, "the procedure limit")

    def candidate(self, wire: Wire | None, joint_kind: JointKind) -> Candidate:
        """The limit as given, whatever the wire."""
        return Candidate(
            code=self.code,
            question=self.question,
            limit_mm=self.limit_mm,
            formula=f"{format_mm(self.limit_mm)} for {joint_kind.in_words}",
            source=self.source,
        )


def fillable_gap(
    wire: Wire | None,
    joint_kind: str = JointKind.BUTT,
    procedure_limit_mm: float | None = None,
    bridge_factor: float = 1.0,
) -> Limit:
    """Give the widest gap that may be left in this joint with this wire.

    Parameters
    ----------
    wire : Wire
        The filler wire in use.
    joint_kind : str
        A word of `JointKind`.
    procedure_limit_mm : float, optional
        Absolute limit from the procedure [mm], above 0 and up to 10. It wins even when it is larger than
        what the wire bridges; the sentence then says so.
    bridge_factor : float
        Share of the wire diameter that may be bridged, above 0 and up to 3. The default of 1.0 is common
        practice, no source. No standard limits the gap of a square butt before joining.

    Raises
    ------
    UsageError
        When the joint kind is unknown or a number is out of its range.
    """
    kind = JointSetup.of(joint_kind).kind
    candidates = []
    if wire is not None:
        candidates.append(BridgeRule(bridge_factor).candidate(wire, kind))
    if procedure_limit_mm is not None:
        candidates.append(ProcedureRule(procedure_limit_mm).candidate(wire, kind))
    if not candidates:
        raise UsageError("a joint without wire needs its limit: give the procedure's (--limit 0.1mm).")
    return combine(tuple(candidates))


def combine(candidates: tuple[Candidate, ...]) -> Limit:
    """Choose the limit: the procedure's when there is one, else the smallest of those that apply."""
    smallest = min(candidates, key=lambda candidate: candidate.limit_mm)
    decisive = next((each for each in candidates if each.code == ProcedureRule.code), smallest)
    sentence = f"{decisive.code} rule: {decisive.formula} ({decisive.source})"
    if decisive.limit_mm > smallest.limit_mm:
        sentence += f"; this is above the {smallest.code} limit of {format_mm(smallest.limit_mm)}"
    return Limit(limit_mm=decisive.limit_mm, rule=decisive.code, sentence=sentence, candidates=candidates)


def _check_limit(limit_mm: float, what: str) -> None:
    if not (math.isfinite(limit_mm) and 0 < limit_mm <= LARGEST_LIMIT_MM):
        raise UsageError(f"{what} must be above 0 and at most {LARGEST_LIMIT_MM:g} mm, not {limit_mm:g} mm.")

"""The rules: each a small object that puts a joint's numbers in and gives the widest gap that it allows.

bridge      gap <= factor × wire
fill        wire area × feed >= (groove(gap) + reinforcement) × travel
reach       gap + 2 × land <= oscillation width + spot
no wire     gap <= share × thinner sheet, of a joint that is made without wire
procedure   gap <= what the welding procedure gives; it always wins

Another rule is one more class here and one more line in `rules_of`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Protocol, TypeAlias

from fitup.joint import JointSetup
from fitup.verdict.fill import FillBalance, wire_area_mm2
from fitup.verdict.groove import groove_of
from fitup.verdict.joint_case import JointCase
from fitup.verdict.lengths import format_mm, format_number
from fitup.verdict.limits import PROCEDURE, Candidate, Limit, NotApplied, combine
from fitup.verdict.sheets import Sheet
from fitup.verdict.shop_rules import (
    DEFAULT_RULES,
    ByKind,
    Procedure,
    ShopRules,
    check_bridge_factor,
    check_limit,
)
from fitup.verdict.weld_settings import WeldSettings
from fitup.verdict.wires import Wire

__all__ = [
    "BridgeRule",
    "FillRule",
    "LimitRule",
    "NoWireRule",
    "ProcedureRule",
    "ReachRule",
    "answers_on",
    "fillable_gap",
    "limit_for",
    "rules_of",
]

_GIVEN = "given by the user"
Answer: TypeAlias = Candidate | NotApplied


class LimitRule(Protocol):
    """One reason why a gap may not be wider."""

    @property
    def code(self) -> str: ...  # noqa: D102
    @property
    def question(self) -> str: ...  # noqa: D102

    def answer(self, case: JointCase) -> Answer:
        """Put the numbers in: what the rule allows, or why it does not apply."""
        ...


@dataclass(frozen=True, kw_only=True)
class BridgeRule:
    """The gap is at most a factor, by the kind of joint, times the wire's diameter."""

    factor: ByKind = DEFAULT_RULES.bridge_factor
    source: str = DEFAULT_RULES.bridge_source
    code: ClassVar[str] = "bridge"
    question: ClassVar[str] = "Can the molten wire bridge the gap?"

    def answer(self, case: JointCase) -> Answer:
        """Factor times wire diameter."""
        if case.wire is None:
            return _not(self, "the joint is made without wire")
        given = case.bridge_factor
        factor = self.factor.of(case.kind) if given is None else given
        check_bridge_factor(factor)
        limit_mm = factor * case.wire.diameter_mm
        return Candidate(
            code=self.code,
            question=self.question,
            limit_mm=limit_mm,
            formula=(
                f"{format_number(factor, 4)} × wire {format_mm(case.wire.diameter_mm, 4)} = "
                f"{format_mm(limit_mm)} in {case.kind.in_words}"
            ),
            source=self.source if given is None else f"factor {_GIVEN}",
        )


@dataclass(frozen=True, kw_only=True)
class FillRule:
    """The wire fed at the settings given fills groove and reinforcement."""

    reinforcement_mm2: ByKind = DEFAULT_RULES.reinforcement_mm2
    source: str = DEFAULT_RULES.fill_source
    code: ClassVar[str] = "fill"
    question: ClassVar[str] = "Does the wire that is fed fill the gap?"

    def balance(self, case: JointCase) -> FillBalance | None:
        """Return the deposition balance of this joint; None where no thickness is known."""
        groove = groove_of(case)
        if groove is None:
            return None
        return FillBalance(groove=groove, reinforcement_mm2=self.reinforcement_mm2.of(case.kind))

    def answer(self, case: JointCase) -> Answer:
        """Widest gap that is filled."""
        wire, feed, travel = case.wire, case.weld.feed_mm_s, case.weld.travel_mm_s
        if wire is None:
            return _not(self, "the joint is made without wire")
        balance = self.balance(case)
        if balance is None or feed is None or travel is None:
            asked = (("--sheet", balance), ("--feed", feed), ("--travel", travel))
            return _lacks(self, tuple(name for name, value in asked if value is None))
        gap_mm = balance.gap_mm(wire.diameter_mm, feed, travel)
        return Candidate(
            code=self.code,
            question=self.question,
            limit_mm=max(gap_mm, 0.0),
            formula=self._formula(case, balance, wire, (feed, travel), gap_mm),
            source=self.source,
            words=self._words(case, wire, (feed, travel), gap_mm),
            remedy="" if gap_mm > 0 else self._remedy(balance, wire, feed, travel),
        )

    def _formula(
        self, case: JointCase, balance: FillBalance, wire: Wire, speeds: tuple[float, float], gap_mm: float
    ) -> str:
        """Area of the wire, groove, and the balance solved for the gap: three steps for a calculator."""
        groove, area = balance.groove, _area(wire_area_mm2(wire.diameter_mm))
        across = format_number(wire.diameter_mm, 4)
        feed, travel = (format_number(speed) for speed in speeds)
        closed = f" − closed groove {_area(groove.closed_mm2)}" if groove.closed_mm2 else ""
        fed = f"{area} × feed {feed} mm/s / travel {travel} mm/s"
        return (
            f"wire π/4 × {across} × {across} = {area}; groove of {case.kind.in_words} = {groove.words}; "
            f"({fed} − reinforcement {_area(balance.reinforcement_mm2)}{closed}) / "
            f"{format_mm(groove.per_gap_mm, 4)} = {format_mm(gap_mm)}"
        )

    def _words(self, case: JointCase, wire: Wire, speeds: tuple[float, float], gap_mm: float) -> str:
        feed, travel = (format_number(speed) for speed in speeds)
        settings = f"{format_mm(wire.diameter_mm, 4)} wire at {feed} mm/s feed and {travel} mm/s travel"
        if gap_mm > 0:
            return f"{settings} fills {format_mm(gap_mm)} in {case.kind.in_words}"
        return f"{settings} does not fill {case.kind.in_words} that is closed"

    def _remedy(self, balance: FillBalance, wire: Wire, feed: float, travel: float) -> str:
        faster = balance.feed_mm_s(0.0, wire.diameter_mm, travel)
        slower = balance.travel_mm_s(0.0, wire.diameter_mm, feed)
        return (
            f"feed faster than {format_number(faster, 2)} mm/s or travel slower than "
            f"{format_number(slower, 2)} mm/s, or give the procedure's limit with --limit"
        )


@dataclass(frozen=True, kw_only=True)
class ReachRule:
    """The oscillating beam reaches a required length onto each plate."""

    land_mm: float = DEFAULT_RULES.required_land_mm
    source: str = DEFAULT_RULES.reach_source
    code: ClassVar[str] = "reach"
    question: ClassVar[str] = "Does the beam reach both plates?"

    def left_mm(self, case: JointCase, gap_mm: float) -> float | None:
        """How far the beam reaches onto each plate beside a gap [mm]; None without oscillation."""
        if case.weld.oscillation_mm is None:
            return None
        return (case.weld.oscillation_mm + (case.weld.spot_mm or 0.0) - gap_mm) / 2

    def answer(self, case: JointCase) -> Answer:
        """Oscillation and spot less both lands."""
        wide, spot = case.weld.oscillation_mm, case.weld.spot_mm
        if wide is None:
            return _lacks(self, ("--oscillation",))
        limit_mm = wide + (spot or 0.0) - 2 * self.land_mm
        beam = "spot not given, counts 0 mm" if spot is None else f"spot {format_mm(spot)}"
        return Candidate(
            code=self.code,
            question=self.question,
            limit_mm=max(limit_mm, 0.0),
            formula=(
                f"oscillation {format_mm(wide)} + {beam} − 2 × required land {format_mm(self.land_mm)} = "
                f"{format_mm(limit_mm)} in {case.kind.in_words}"
            ),
            source=self.source,
            remedy="" if limit_mm > 0 else self._remedy(spot or 0.0),
        )

    def _remedy(self, spot_mm: float) -> str:
        wider = format_mm(2 * self.land_mm - spot_mm)
        return f"oscillate wider than {wider}, or give the procedure's limit with --limit"


@dataclass(frozen=True, kw_only=True)
class NoWireRule:
    """Without wire the gap is at most a share of the thinner sheet."""

    share: float = DEFAULT_RULES.no_wire_share
    source: str = DEFAULT_RULES.no_wire_source
    code: ClassVar[str] = "no wire"
    question: ClassVar[str] = "Do the plates close the gap themselves?"

    def answer(self, case: JointCase) -> Answer:
        """Share of the thinner sheet."""
        if case.wire is not None:
            return _not(self, "the joint is made with wire")
        if case.thinner_mm is None:
            return _lacks(self, ("--sheet",))
        limit_mm = self.share * case.thinner_mm
        which = "sheet" if len(set(case.sheets_mm)) == 1 else "thinner sheet"
        return Candidate(
            code=self.code,
            question=self.question,
            limit_mm=limit_mm,
            formula=(
                f"{format_number(self.share, 4)} × {which} {format_mm(case.thinner_mm, 4)} = "
                f"{format_mm(limit_mm)} in {case.kind.in_words} without wire"
            ),
            source=self.source,
        )


@dataclass(frozen=True, kw_only=True)
class ProcedureRule:
    """An absolute limit from the welding procedure; it always wins.

    One that a person gives for the joint counts before those of the shop's rules. Of these the one that asks
    most of the joint counts, of equals the smaller limit.
    """

    procedures: tuple[Procedure, ...] = ()
    rules_words: str = DEFAULT_RULES.words
    code: ClassVar[str] = PROCEDURE
    question: ClassVar[str] = "What does the procedure for this joint allow?"

    def answer(self, case: JointCase) -> Answer:
        """The limit as given, whatever the wire."""
        if case.procedure_limit_mm is not None:
            check_limit(case.procedure_limit_mm, "the procedure limit")
            return self._candidate(case, case.procedure_limit_mm, case.procedure_reference or _GIVEN)
        fitting = [one for one in self.procedures if one.fits(case.kind, case.sheets_mm, case.wire)]
        if not fitting:
            none = f"none of the {len(self.procedures)} in the {self.rules_words} is for this joint"
            return _not(self, none if self.procedures else "no limit is given (--limit, or the shop's rules)")
        closest = min(fitting, key=lambda one: (-one.conditions, one.limit_mm))
        return self._candidate(case, closest.limit_mm, f"{closest.reference}, {self.rules_words}")

    def _candidate(self, case: JointCase, limit_mm: float, source: str) -> Candidate:
        return Candidate(
            code=self.code,
            question=self.question,
            limit_mm=limit_mm,
            formula=f"{format_mm(limit_mm)} for {case.kind.in_words}",
            source=source,
        )


def rules_of(rules: ShopRules) -> tuple[LimitRule, ...]:
    """Every rule with the shop's numbers, in the order in which they are told."""
    return (
        BridgeRule(factor=rules.bridge_factor, source=rules.bridge_source),
        FillRule(reinforcement_mm2=rules.reinforcement_mm2, source=rules.fill_source),
        ReachRule(land_mm=rules.required_land_mm, source=rules.reach_source),
        NoWireRule(share=rules.no_wire_share, source=rules.no_wire_source),
        ProcedureRule(procedures=rules.procedures, rules_words=rules.words),
    )


def answers_on(case: JointCase) -> tuple[Answer, ...]:
    """What every rule says of a joint: what it allows, or why it does not apply."""
    return tuple(rule.answer(case) for rule in rules_of(case.rules))


def limit_for(case: JointCase) -> Limit:
    """The widest gap that may be left in this joint.

    Raises
    ------
    UsageError
        When no rule applies, or the settings do not even do for a closed joint.
    """
    answers = answers_on(case)
    return combine(
        tuple(answer for answer in answers if isinstance(answer, Candidate)),
        tuple(answer for answer in answers if isinstance(answer, NotApplied)),
    )


def fillable_gap(
    wire: Wire | None,
    joint_kind: str = "butt",
    procedure_limit_mm: float | None = None,
    bridge_factor: float | None = None,
    *,
    sheet: Sheet | None = None,
    other_sheet: Sheet | None = None,
    weld: WeldSettings | None = None,
    rules: ShopRules = DEFAULT_RULES,
) -> Limit:
    """Give the widest gap that may be left in this joint, in a notebook's one line.

    Parameters
    ----------
    wire : Wire or None
        The filler wire in use; None for a joint that is made without.
    joint_kind : str
        A word of `JointKind`.
    procedure_limit_mm : float, optional
        Absolute limit from the procedure [mm], above 0 and up to 10. It wins even when it is larger than
        what the wire bridges; the sentence then says so.
    bridge_factor : float, optional
        Share of the wire diameter that may be bridged, above 0 and up to 3, instead of that of the rules.
        Their default of 1.0 is common practice, no source. No standard limits the gap of a square butt
        before joining.
    sheet, other_sheet, weld, rules : optional
        Plates, weld settings and the shop's rules, for the rules that need them.

    Raises
    ------
    UsageError
        When the joint kind is unknown, a number is out of its range, or no rule gives a limit.
    """
    return limit_for(
        JointCase(
            setup=JointSetup.of(joint_kind),
            wire=wire,
            sheet=sheet,
            other_sheet=other_sheet,
            weld=weld or WeldSettings(),
            procedure_limit_mm=procedure_limit_mm,
            bridge_factor=bridge_factor,
            rules=rules,
        )
    )


def _not(rule: LimitRule, reason: str) -> NotApplied:
    return NotApplied(code=rule.code, question=rule.question, reason=reason)


def _lacks(rule: LimitRule, options: tuple[str, ...]) -> NotApplied:
    listed = ", ".join(options[:-1]) + (" and " if len(options) > 1 else "") + options[-1]
    return _not(rule, f"needs {listed}")


def _area(area_mm2: float) -> str:
    return f"{format_number(area_mm2, 4)} mm²"

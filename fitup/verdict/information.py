"""For information: which wire would bridge and fill the gap that was measured, and at what feed or travel.

Nothing here decides: the verdict rests on the limit alone, and on wire and settings the welding procedure.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np

from fitup.joint import JointKind
from fitup.verdict.decision import DecisionRule
from fitup.verdict.fill import FillBalance
from fitup.verdict.joint_case import JointCase
from fitup.verdict.lengths import format_mm, format_number
from fitup.verdict.limits import PROCEDURE, Candidate, Limit
from fitup.verdict.rules import BridgeRule, FillRule, ReachRule
from fitup.verdict.wires import PUBLISHED_WIRES_SOURCE, Wire, published_wires

if TYPE_CHECKING:  # reading a wire size must not load the image processing
    from fitup.profile import GapProfile

__all__ = ["ForInformation", "fill_words", "information_on", "reach_words", "reminders"]

_CAUTION = "for information only: on wire and settings the welding procedure decides"
_OPEN_CORNER = (
    "an open outside corner takes about 200 W less than the T-joint in the same sheet, because its root is "
    "open; the wire lies on both lands and is guided by them, so both must be there along the whole length "
    "(common practice, no source; a reminder, never a setting)"
)
_REMINDERS = {JointKind.CORNER_FULL_OPEN: _OPEN_CORNER, JointKind.CORNER_HALF_OPEN: _OPEN_CORNER}
_SAFETY = 1e-6


@dataclass(frozen=True, kw_only=True)
class ForInformation:
    """What may help to choose wire and settings; None where nothing can be said."""

    needed_gap_mm: float | None
    """Widest gap that must be bridged: the largest one measured, with what is uncertain of it [mm]."""
    wire: Wire | None
    """The wire in use where it bridges that gap, else the thinnest one that does."""
    wire_in_use: bool
    """Whether that is the wire in use."""
    feed_mm_s: float | None
    """Feed of that wire which fills the gap at the travel that was given [mm/s]."""
    travel_mm_s: float | None
    """Travel at which that wire fills the gap at the feed that was given [mm/s]."""
    sentences: tuple[str, ...]
    """The same in words, with reminders."""


def information_on(
    profile: GapProfile, case: JointCase, rule: DecisionRule, limit: Limit
) -> ForInformation | None:
    """What may help with this joint; None where nothing would.

    On wire and settings something is said where the gap, with what is uncertain of it, is over the limit, or
    where feed, travel or oscillation were given.
    """
    told = reminders(case.kind)
    weld = case.weld
    asked = any(value is not None for value in (weld.feed_mm_s, weld.travel_mm_s, weld.oscillation_mm))
    needed_mm = _needed_gap(profile, rule)
    if needed_mm is None or not (asked or needed_mm > limit.limit_mm):
        return _only(told) if told else None
    wire, on_wire = _wire_for(case, needed_mm)
    on_fill: list[str] = []
    feed = travel = None
    balance = FillRule(reinforcement_mm2=case.rules.reinforcement_mm2).balance(case)
    if wire is not None and balance is not None:
        feed, travel = _speeds(case, balance, wire, needed_mm)
        on_fill = [f"to fill it takes {_fill_words(case, balance, wire, needed_mm)}"]
    widest = f"the widest gap, with what is uncertain of it, is {_up(needed_mm)} mm"
    return ForInformation(
        needed_gap_mm=needed_mm,
        wire=wire,
        wire_in_use=wire is not None and wire == case.wire,
        feed_mm_s=feed,
        travel_mm_s=travel,
        sentences=(
            "; ".join(
                [
                    f"{widest}: {on_wire}",
                    *on_fill,
                    *reach_words(case, needed_mm),
                    *_on_limit(limit, needed_mm),
                    _CAUTION,
                ]
            ),
            *told,
        ),
    )


def reminders(kind: JointKind) -> tuple[str, ...]:
    """What is to be remembered with joints of this kind."""
    return (_REMINDERS[kind],) if kind in _REMINDERS else ()


def _only(sentences: tuple[str, ...]) -> ForInformation:
    return ForInformation(
        needed_gap_mm=None,
        wire=None,
        wire_in_use=False,
        feed_mm_s=None,
        travel_mm_s=None,
        sentences=sentences,
    )


def _needed_gap(profile: GapProfile, rule: DecisionRule) -> float | None:
    """The gap that a limit must reach for every station that was seen to be within; None for none seen."""
    if not profile.seen.any():
        return None
    quantile = 0.0 if rule.simple_acceptance else NormalDist().inv_cdf(rule.conformance_probability)
    return max(float(np.nanmax(profile.gap_mm + quantile * profile.u_gap_mm)), 0.0)


def _wire_for(case: JointCase, gap_mm: float) -> tuple[Wire | None, str]:
    """The wire in use or the thinnest one that bridges the gap, and what is to be said of it."""
    if case.wire is None and case.thinner_mm is not None:
        share_mm = case.rules.no_wire_share * case.thinner_mm
        if gap_mm <= share_mm:
            return None, f"no wire is needed up to {format_mm(share_mm)}"
    if case.wire is not None and _bridged(case, case.wire).limit_mm >= gap_mm:
        return case.wire, f"the wire in use, {format_mm(case.wire.diameter_mm)}, bridges it"
    wires, whose = _to_be_had(case)
    fitting = [wire for wire in wires if _bridged(case, wire).limit_mm >= gap_mm]
    if not fitting:
        most = _bridged(case, wires[-1]).limit_mm
        return None, f"none of {whose} bridges it: close the gap to {format_mm(most)} or less"
    thinnest = fitting[0]
    return thinnest, f"{_named(thinnest)} is the thinnest of {whose} that bridges it"


def _bridged(case: JointCase, wire: Wire) -> Candidate:
    answer = BridgeRule(factor=case.rules.bridge_factor).answer(replace(case, wire=wire))
    assert isinstance(answer, Candidate)
    return answer


def _to_be_had(case: JointCase) -> tuple[list[Wire], str]:
    """Wires by diameter, and where they are from."""
    stock = case.rules.wires_in_stock
    if stock:
        return _sorted(stock), f"the wires in stock ({case.rules.words})"
    inches = case.wire is not None and " in = " in case.wire.reading
    return _sorted(published_wires(inches=inches)), f"the published sizes ({PUBLISHED_WIRES_SOURCE})"


def _sorted(wires: Iterable[Wire]) -> list[Wire]:
    return sorted(wires, key=lambda wire: wire.diameter_mm)


def _named(wire: Wire) -> str:
    return wire.reading or format_mm(wire.diameter_mm)


def _speeds(
    case: JointCase, balance: FillBalance, wire: Wire, gap_mm: float
) -> tuple[float | None, float | None]:
    """Feed for the travel that was given, and travel for the feed that was given [mm/s]."""
    feed, travel = case.weld.feed_mm_s, case.weld.travel_mm_s
    slowest = None if travel is None else balance.feed_mm_s(gap_mm, wire.diameter_mm, travel)
    fastest = None if feed is None else balance.travel_mm_s(gap_mm, wire.diameter_mm, feed)
    return slowest, fastest if fastest is None or math.isfinite(fastest) else None


def _fill_words(case: JointCase, balance: FillBalance, wire: Wire, gap_mm: float) -> str:
    """How much of a wire fills a gap, and at what feed or travel, where one of them was given."""
    feed, travel = case.weld.feed_mm_s, case.weld.travel_mm_s
    ratio = balance.feed_per_travel(gap_mm, wire.diameter_mm)
    said = f"{_up(ratio)} mm of this wire for every mm of joint"
    slowest, fastest = _speeds(case, balance, wire, gap_mm)
    if slowest is not None and feed is not None and feed >= slowest:
        return f"{said}, and the settings given fill it"
    ways = []
    if slowest is not None:
        ways.append(f"at {_speed(travel)} travel a feed of {_up(slowest)} mm/s or more")
    if fastest is not None:
        ways.append(f"at {_speed(feed)} feed a travel of {_down(fastest)} mm/s or less")
    return f"{said}: {', or '.join(ways)}" if ways else said


def fill_words(case: JointCase, gap_mm: float) -> str:
    """How much of the wire in use fills a gap, and at what feed or travel; "" without wire or sheet."""
    balance = FillRule(reinforcement_mm2=case.rules.reinforcement_mm2).balance(case)
    return "" if balance is None or case.wire is None else _fill_words(case, balance, case.wire, gap_mm)


def reach_words(case: JointCase, gap_mm: float) -> list[str]:
    """How far the beam reaches onto the plates beside a gap; nothing where the oscillation is not known."""
    land_mm = case.rules.required_land_mm
    left_mm = ReachRule().left_mm(case, gap_mm)
    if left_mm is None:
        return []
    spot = " (spot not counted)" if case.weld.spot_mm is None else ""
    if left_mm < 0:
        return [f"the beam{spot} is narrower than the gap"]
    short = f", less than the {format_mm(land_mm)} required" if left_mm < land_mm else ""
    return [f"the beam reaches {_down(left_mm)} mm onto each plate beside it{spot}{short}"]


def _on_limit(limit: Limit, gap_mm: float) -> list[str]:
    """That a wire which bridges the gap does not make a procedure's smaller limit wider."""
    stands = limit.rule == PROCEDURE and gap_mm > limit.limit_mm
    return (
        [f"the procedure's limit of {format_mm(limit.limit_mm)} stands, whatever the wire"] if stands else []
    )


def _speed(mm_s: float | None) -> str:
    return f"{format_number(mm_s or 0.0)} mm/s"


def _up(value: float) -> str:
    """Two decimals, rounded up: what must be reached."""
    return f"{math.ceil(value * 100 - _SAFETY) / 100:.2f}"


def _down(value: float) -> str:
    """Two decimals, rounded down: what must not be passed."""
    return f"{math.floor(value * 100 + _SAFETY) / 100:.2f}"

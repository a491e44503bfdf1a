"""What was asked, and the limit that follows from it, to their part of the record."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import TYPE_CHECKING

from fitup.evidence import request_entry as entry
from fitup.evidence.rules_entry import rules_entry, weld_entry
from fitup.evidence.subject import Settings
from fitup.evidence.writing import printable_name

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from fitup.evidence.rules_entry import ProcedureEntry, RulesEntry
    from fitup.verdict import JointVerdict, Limit, Sheet, ShopRules, WeldSettings, Wire

__all__ = ["limit_entry", "request_entry", "rules_of", "weld_of"]


def request_entry(asked: Settings, verdict: JointVerdict) -> entry.RequestEntry:
    """What was asked, with the rules of the decision."""
    rule = verdict.decision
    return entry.RequestEntry(
        wire=_wire(asked.wire),
        sheet=_sheet(asked.sheet),
        other_sheet=_sheet(asked.other_sheet),
        joint_kind=str(asked.joint_kind),
        target_on=asked.target_on,
        included_angle_deg=asked.included_angle_deg,
        overlap_mm=asked.overlap_mm,
        two_targets=asked.two_targets,
        one_sheet=asked.one_sheet,
        procedure_limit_mm=asked.procedure_limit_mm,
        procedure_reference=printable_name(asked.procedure_reference),
        bridge_factor=asked.bridge_factor,
        target_thickness_mm=asked.target_thickness_mm,
        arris_radius_mm=asked.arris_radius_mm,
        joint_points_px=None if asked.points_px is None else _points(asked.points_px),
        strips=asked.strips,
        joint_start_mm=asked.joint_start_mm,
        joint_length_mm=asked.joint_length_mm,
        from_mm=asked.from_mm,
        to_mm=asked.to_mm,
        decision=entry.DecisionEntry(
            sentence=rule.sentence,
            conformance_probability=rule.conformance_probability,
            simple_acceptance=rule.simple_acceptance,
        ),
        spot_rule=entry.SpotRuleEntry(**asdict(verdict.spot_rule)),
        seen_rule=entry.SeenRuleEntry(**asdict(verdict.seen_rule)),
        land_rule=None if verdict.land_rule is None else entry.LandRuleEntry(**asdict(verdict.land_rule)),
        weld=weld_entry(asked.weld),
        rules=rules_entry(asked.rules),
    )


def _wire(wire: Wire | None) -> entry.WireEntry | None:
    if wire is None:
        return None
    return entry.WireEntry(
        as_written=printable_name(wire.as_written), reading=wire.reading, diameter_mm=wire.diameter_mm
    )


def _sheet(sheet: Sheet | None) -> entry.SheetEntry | None:
    if sheet is None:
        return None
    return entry.SheetEntry(
        as_written=printable_name(sheet.as_written),
        reading=sheet.reading,
        thickness_mm=sheet.thickness_mm,
        table=sheet.table,
    )


def limit_entry(limit: Limit) -> entry.LimitEntry:
    """The limit and its candidates."""
    names = entry.CandidateEntry.model_fields
    return entry.LimitEntry(
        limit_mm=limit.limit_mm,
        rule=limit.rule,
        sentence=limit.sentence,
        candidates=tuple(
            entry.CandidateEntry(**{name: getattr(candidate, name) for name in names})
            for candidate in limit.candidates
        ),
        not_applied=tuple(entry.NotAppliedEntry(**asdict(rule)) for rule in limit.not_applied),
    )


def _points(points: NDArray[np.float64]) -> tuple[tuple[float, float], ...]:
    return tuple((float(u), float(v)) for u, v in points)


def rules_of(asked: entry.RequestEntry) -> ShopRules:
    """The rules that a request was made with; before version 3 the default ones with the request's factor."""
    from fitup.verdict import DEFAULT_RULES, ByKind, DecisionRule, LandRule, SeenRule, SpotRule

    before = replace(DEFAULT_RULES, bridge_factor=ByKind(usual=asked.bridge_factor or 1.0))
    rules = before if asked.rules is None else _rules(asked.rules)
    return replace(
        rules,
        decision=DecisionRule(
            conformance_probability=asked.decision.conformance_probability,
            simple_acceptance=asked.decision.simple_acceptance,
        ),
        spot_rule=SpotRule(**asked.spot_rule.model_dump()),
        seen_rule=SeenRule(**asked.seen_rule.model_dump()),
        land_rule=LandRule() if asked.land_rule is None else LandRule(**asked.land_rule.model_dump()),
    )


def weld_of(asked: entry.RequestEntry) -> WeldSettings:
    """The weld settings of a request."""
    from fitup.verdict import WeldSettings

    return WeldSettings() if asked.weld is None else WeldSettings(**asked.weld.model_dump())


def _rules(told: RulesEntry) -> ShopRules:
    from fitup.verdict import ByKind, JointKind, Procedure, ShopRules, Wire

    def by_kind(usual: float, others: dict[str, float]) -> ByKind:
        return ByKind(usual=usual, by_kind=tuple((JointKind(kind), value) for kind, value in others.items()))

    def procedure(one: ProcedureEntry) -> Procedure:
        kinds = tuple(JointKind(kind) for kind in one.joint_kinds)
        return Procedure(**{**one.model_dump(), "joint_kinds": kinds})

    return ShopRules(
        bridge_factor=by_kind(told.bridge_factor, told.bridge_factor_by_kind),
        bridge_source=told.bridge_source,
        reinforcement_mm2=by_kind(told.reinforcement_mm2, told.reinforcement_by_kind_mm2),
        fill_source=told.fill_source,
        required_land_mm=told.required_land_mm,
        reach_source=told.reach_source,
        no_wire_share=told.no_wire_share,
        no_wire_source=told.no_wire_source,
        procedures=tuple(procedure(one) for one in told.procedures),
        wires_in_stock=tuple(Wire(**one.model_dump()) for one in told.wires_in_stock),
        gauge_material=told.gauge_material,
        file_name=told.file_name,
        sha256=told.sha256,
    )

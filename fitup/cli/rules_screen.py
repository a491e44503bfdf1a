"""What a person sees of rules: each with its numbers put in, so that a calculator gives the same."""

from __future__ import annotations

from fitup.cli.screen import Screen
from fitup.errors import UsageError
from fitup.verdict import (
    Candidate,
    DecisionRule,
    JointCase,
    NotApplied,
    Procedure,
    ShopRules,
    Wire,
    limit_for,
)
from fitup.verdict.information import fill_words, reach_words, reminders
from fitup.verdict.lengths import format_mm, format_number
from fitup.verdict.rules import answers_on
from fitup.verdict.shop_rules import ByKind

__all__ = ["RulesScreen"]

_CARE = "no standard limits the gap before welding; on wire and settings the welding procedure decides"


class RulesScreen(Screen):
    """Shows rules on stdout, in the looks of records."""

    def show_case(self, case: JointCase, decision: DecisionRule) -> None:
        """One joint: what is known of it, its limit, and what every rule says of it."""
        self._paragraph("joint", "; ".join(_known(case)))
        self._paragraph("rules", case.rules.words)
        try:
            limit = limit_for(case)
        except UsageError:
            limit = None
        decisive = "" if limit is None else limit.rule
        self._paragraph(
            "limit",
            "none" if limit is None else f"{format_mm(limit.limit_mm)} by the {decisive} rule",
            style="bold",
        )
        self._heading("rule         what it allows, and how that comes about")
        for answer in answers_on(case):
            self._answer(answer, sets_it=answer.code == decisive)
        self._heading("beside the limit")
        self._paragraph("decision", decision.sentence)
        if limit is not None:
            self._at_limit(case, limit.limit_mm)
        for words in reminders(case.kind):
            self._paragraph("reminder", words)
        self._paragraph("care", _CARE)

    def show_file(self, rules: ShopRules) -> None:
        """All numbers that a rules file puts in force, those that it leaves at their defaults included."""
        self._paragraph("file", f"{rules.file_name}: all entries sound")
        self._paragraph("sha-256", rules.sha256)
        self._heading("in force, what the file does not say included")
        self._paragraph("bridge", f"{_by_kind(rules.bridge_factor, '× wire')} ({rules.bridge_source})")
        self._paragraph(
            "fill", f"reinforcement {_by_kind(rules.reinforcement_mm2, 'mm²')} ({rules.fill_source})"
        )
        self._paragraph("reach", f"required land {format_mm(rules.required_land_mm)} ({rules.reach_source})")
        self._paragraph(
            "no wire", f"{format_number(rules.no_wire_share, 4)} × thinner sheet ({rules.no_wire_source})"
        )
        for procedure in rules.procedures:
            self._paragraph("procedure", _procedure(procedure))
        if not rules.procedures:
            self._paragraph("procedure", "none")
        self._paragraph("decision", rules.decision.sentence)
        self._lengths(rules)
        stock = ", ".join(_wire(wire) for wire in rules.wires_in_stock)
        self._paragraph("wires", stock or "none in stock named: published sizes are recommended")
        material = rules.gauge_material or "must be written with every gauge number"
        self._paragraph("gauges", f"material {material}")

    def _lengths(self, rules: ShopRules) -> None:
        spots, seen, lands = rules.spot_rule, rules.seen_rule, rules.land_rule
        self._paragraph(
            "spots",
            f"closer than {format_mm(spots.merge_mm)} are one; dropped below "
            f"{format_mm(spots.shortest_doubtful_mm)} (doubtful) and {format_mm(spots.shortest_unseen_mm)} "
            f"(unseen); over the limit but below {format_mm(spots.shortest_over_mm)} they are doubtful",
        )
        self._paragraph(
            "seen",
            f"at least {100 * seen.least_seen_share:g} %, at most {format_mm(seen.longest_unseen_mm)} "
            f"unseen in one piece",
        )
        self._paragraph(
            "lands",
            f"short below {format_number(lands.least_share)} × sheet over {format_mm(lands.shortest_mm)} or "
            f"more; stretches closer than {format_mm(lands.merge_mm)} are one",
        )

    def _answer(self, answer: Candidate | NotApplied, *, sets_it: bool) -> None:
        if isinstance(answer, NotApplied):
            self._paragraph(answer.code, f"does not apply: {answer.reason}")
            self._paragraph("", answer.question)
            return
        allowed = format_mm(answer.limit_mm) if answer.limit_mm > 0 else "nothing: not even a closed joint"
        self._paragraph(answer.code, f"{allowed}{' - sets the limit' if sets_it else ''}", style="bold")
        self._paragraph("", answer.question)
        for step in answer.formula.split("; "):
            self._paragraph("", f"  {step}")
        self._paragraph("", f"source: {answer.source}")
        if answer.remedy:
            self._paragraph("", f"remedy: {answer.remedy}")

    def _at_limit(self, case: JointCase, limit_mm: float) -> None:
        """What a gap as wide as the limit asks of the settings."""
        filled = fill_words(case, limit_mm)
        told = [f"to fill it takes {filled}"] if filled else []
        for words in (*told, *reach_words(case, limit_mm)):
            self._paragraph("at limit", words)


def _known(case: JointCase) -> list[str]:
    """What was said of a joint."""
    weld = case.weld
    sheets = (("sheet", case.sheet), ("other sheet", case.other_sheet))
    settings = (
        ("feed", weld.feed_mm_s, "mm/s"),
        ("travel", weld.travel_mm_s, "mm/s"),
        ("oscillation", weld.oscillation_mm, "mm"),
        ("spot", weld.spot_mm, "mm"),
    )
    return [
        case.kind.in_words,
        "no wire" if case.wire is None else f"wire {_wire(case.wire)}",
        *(f"{word} {sheet.reading or format_mm(sheet.thickness_mm)}" for word, sheet in sheets if sheet),
        *(f"{word} {format_number(value)} {unit}" for word, value, unit in settings if value is not None),
    ]


def _wire(wire: Wire) -> str:
    return wire.reading or format_mm(wire.diameter_mm)


def _by_kind(values: ByKind, unit: str) -> str:
    own = "".join(f", {format_number(value, 4)} in {kind.in_words}" for kind, value in values.by_kind)
    return f"{format_number(values.usual, 4)} {unit}{own}"


def _procedure(procedure: Procedure) -> str:
    low, high, wire = procedure.sheet_from_mm, procedure.sheet_to_mm, procedure.wire_mm
    kinds = ", ".join(procedure.joint_kinds) or "all kinds of joint"
    bounds = (("from", low), ("to", high))
    sheet = "".join(f" {word} {format_mm(bound)}" for word, bound in bounds if bound is not None)
    if low is not None and high is not None and format_mm(low) == format_mm(high):
        sheet = f" {format_mm(low)}"
    return "; ".join(
        [
            f"{format_mm(procedure.limit_mm)} for {kinds}",
            *([f"sheet{sheet}"] if sheet else []),
            *([f"wire {format_mm(wire)}"] if wire is not None else []),
            procedure.reference,
        ]
    )

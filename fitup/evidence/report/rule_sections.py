"""Sections on what was asked: the limit and all rules in force with their numbers, and the settings."""

from __future__ import annotations

from fitup.evidence.judged_record import AnyRecord
from fitup.evidence.report.model import Block, Facts, Lines, Section, Table
from fitup.evidence.report.numbers import known, length, number, percent
from fitup.evidence.request_entry import RequestEntry, SheetEntry, WireEntry
from fitup.evidence.rules_entry import ProcedureEntry, RulesEntry, StockWireEntry, WeldEntry
from fitup.joint import JointKind

__all__ = ["asked_section", "information_section", "limit_section"]


def limit_section(record: AnyRecord) -> Section:
    """The limit, every candidate with its formula, what did not apply, and by which rules was decided."""
    limit = record.limit
    blocks: list[Block] = [
        Facts(rows=(("limit", f"{limit.limit_mm:.3f} mm by the {limit.rule} rule"), ("why", limit.sentence)))
    ]
    if limit.candidates:
        rows = tuple(
            (
                f"{one.code}{' (counts)' if one.code == limit.rule else ''}",
                f"{one.limit_mm:.3f}",
                f"{one.question} {one.formula}",
                one.source,
            )
            for one in limit.candidates
        )
        heads = ("rule", "limit, mm", "how it comes about", "source")
        blocks.append(Table(heads=heads, rows=rows, widths=(0.15, 0.1, 0.5, 0.25), right=frozenset({1})))
    if limit.not_applied:
        left_out = tuple((one.code, one.question, one.reason) for one in limit.not_applied)
        names = ("not applied", "question", "reason")
        blocks.append(Table(heads=names, rows=left_out, widths=(0.15, 0.4, 0.45)))
    blocks.append(Facts(rows=tuple(_decisions(record.request))))
    if record.request.rules is not None:
        blocks.append(Facts(rows=tuple(_numbers(record.request.rules))))
    told = (
        "The smallest limit counts; a procedure's wins. No standard limits the gap of a square butt joint "
        "before welding: the limit is the shop's."
    )
    return Section(title="Limit and rules in force", blocks=(*blocks, Lines(texts=(told,))))


def _decisions(asked: RequestEntry) -> list[tuple[str, str]]:
    spots, seen, lands = asked.spot_rule, asked.seen_rule, asked.land_rule
    rows = [
        ("decision", asked.decision.sentence),
        (
            "spots",
            f"closer than {length(spots.merge_mm, 1)} are one; over is kept from "
            f"{length(spots.shortest_over_mm, 1)}, doubtful from {length(spots.shortest_doubtful_mm, 1)}, "
            f"unseen from {length(spots.shortest_unseen_mm, 1)} on",
        ),
        (
            "seen",
            f"at least {percent(seen.least_seen_share)} of the joint, at most "
            f"{length(seen.longest_unseen_mm, 1)} unseen in one piece",
        ),
    ]
    if lands is not None:
        share = f"below {number(lands.least_share, 2)} of the sheet over {length(lands.shortest_mm, 1)}"
        rows.append(("short land", f"{share}; closer than {length(lands.merge_mm, 1)} are one"))
    return rows


def _numbers(rules: RulesEntry) -> list[tuple[str, str]]:
    file = f"{rules.file_name}, SHA-256 {rules.sha256}" if rules.file_name else "defaults, no file"
    stock = ", ".join(_stock(wire) for wire in rules.wires_in_stock) or "not given"
    rows = [
        ("shop rules", file),
        (
            "bridge",
            f"{_by_kind(rules.bridge_factor, rules.bridge_factor_by_kind)} × wire ({rules.bridge_source})",
        ),
        (
            "fill",
            f"reinforcement {_by_kind(rules.reinforcement_mm2, rules.reinforcement_by_kind_mm2)} mm² "
            f"({rules.fill_source})",
        ),
        ("reach", f"required land {length(rules.required_land_mm)} ({rules.reach_source})"),
        ("no wire", f"{number(rules.no_wire_share, 3)} × thinner sheet ({rules.no_wire_source})"),
        ("wires in stock", stock),
        ("gauge numbers", known(rules.gauge_material)),
    ]
    return [*rows, *(("procedure", _procedure(one)) for one in rules.procedures)]


def _by_kind(usual: float, by_kind: dict[str, float]) -> str:
    more = "".join(f", {kind} {value:g}" for kind, value in by_kind.items())
    return f"{usual:g}{more}"


def _procedure(one: ProcedureEntry) -> str:
    bounds = [
        ", ".join(one.joint_kinds) or "any kind",
        "" if one.sheet_from_mm is None else f"sheet from {one.sheet_from_mm:g} mm",
        "" if one.sheet_to_mm is None else f"sheet to {one.sheet_to_mm:g} mm",
        "" if one.wire_mm is None else f"wire {one.wire_mm:g} mm",
    ]
    return f"{length(one.limit_mm)}, {known(one.reference)}: {'; '.join(text for text in bounds if text)}"


def _stock(wire: StockWireEntry) -> str:
    return wire.reading


def asked_section(record: AnyRecord) -> Section:
    """All that a person said of the joint."""
    asked = record.request
    rows = [
        ("joint", _kind(asked.joint_kind)),
        ("wire", _wire(asked.wire)),
        ("sheet", _sheet(asked.sheet)),
        ("other sheet", "the same" if asked.other_sheet is None else _sheet(asked.other_sheet)),
        ("weld settings", _weld(asked.weld)),
        *_optional(asked),
        ("targets", _targets(asked)),
        ("target's thickness", _or(asked.target_thickness_mm, "by the print check, else paper")),
        ("arris radius", length(asked.arris_radius_mm, 3)),
        ("judged from", _or(asked.from_mm, "the beginning")),
        ("judged to", _or(asked.to_mm, "the end")),
        ("joint's length", _or(asked.joint_length_mm, "not given")),
    ]
    if asked.joint_points_px is not None:
        points = "; ".join(f"{u:.0f}, {v:.0f}" for u, v in asked.joint_points_px)
        rows.append(("joint given at", f"{points} (px)"))
    return Section(title="Settings", blocks=(Facts(rows=tuple(rows)),))


def _optional(asked: RequestEntry) -> list[tuple[str, str]]:
    given: list[tuple[str, str | None]] = [
        ("target on", asked.target_on),
        ("overlap", None if asked.overlap_mm is None else length(asked.overlap_mm)),
        ("bridge factor given", None if asked.bridge_factor is None else f"{asked.bridge_factor:g}"),
        ("limit given", None if asked.procedure_limit_mm is None else length(asked.procedure_limit_mm)),
        ("limit's reference", asked.procedure_reference),
        ("strips", ", ".join(map(str, asked.strips))),
        ("joint begins at", None if asked.joint_start_mm is None else length(asked.joint_start_mm)),
    ]
    if asked.joint_kind == JointKind.CORNER_FULL_OPEN:
        given.append(("included angle given", f"{asked.included_angle_deg:g}°"))
    return [(label, text) for label, text in given if text]


def _kind(kind: str) -> str:
    return f"{kind} ({JointKind(kind).in_words})" if kind in list(JointKind) else kind


def _wire(wire: WireEntry | None) -> str:
    if wire is None:
        return "made without wire"
    return f"{wire.reading}, written {wire.as_written}: {wire.diameter_mm:.3f} mm"


def _sheet(sheet: SheetEntry | None) -> str:
    if sheet is None:
        return "not given"
    table = "" if sheet.table is None else f", {sheet.table}"
    return f"{sheet.reading}, written {sheet.as_written}: {sheet.thickness_mm:.3f} mm{table}"


def _weld(weld: WeldEntry | None) -> str:
    if weld is None:
        return "not given"
    said = [
        ("feed", weld.feed_mm_s, "mm/s"),
        ("travel", weld.travel_mm_s, "mm/s"),
        ("oscillation", weld.oscillation_mm, "mm"),
        ("frequency", weld.oscillation_hz, "Hz"),
        ("spot", weld.spot_mm, "mm"),
        ("power", weld.power_w, "W"),
    ]
    return (
        ", ".join(f"{name} {value:g} {unit}" for name, value, unit in said if value is not None)
        or "not given"
    )


def _targets(asked: RequestEntry) -> str:
    words = "one on each plate" if asked.two_targets else "one is enough"
    return f"{words}, cut from one print" if asked.one_sheet else words


def _or(value_mm: float | None, otherwise: str) -> str:
    return otherwise if value_mm is None else length(value_mm)


def information_section(record: AnyRecord) -> Section:
    """What the record says for information; nothing where it says nothing."""
    told = record.verdict.information
    blocks = () if told is None or not told.sentences else (Lines(texts=told.sentences),)
    return Section(title="For information", blocks=blocks)

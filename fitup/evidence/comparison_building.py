"""Two records to a comparison: whether they can be compared, what must be told, and the sentence."""

from __future__ import annotations

import json
import math
from collections import Counter
from dataclasses import dataclass, replace
from datetime import UTC
from typing import Any, Literal, cast

import numpy as np

from fitup import __version__
from fitup.errors import UsageError
from fitup.evidence import comparison_record as entry
from fitup.evidence.comparison_record import COMPARISON_SCHEMA_VERSION, ComparisonRecord
from fitup.evidence.judged_record import AnyRecord, photos_of
from fitup.evidence.record import CorrectionEntry, InspectionRecord, PrintCheckEntry, SpotWord
from fitup.evidence.record_file import SCHEMA_FILE
from fitup.evidence.settlement_file import Settlements
from fitup.evidence.settlement_record import RecordReference, SettlementProgramEntry
from fitup.evidence.subject import Filing
from fitup.evidence.words import COVERAGE_FACTOR, from_to
from fitup.evidence.writing import printable_name
from fitup.verdict.comparing import Comparison, Fate, SpotFate, compare
from fitup.verdict.judged import JudgedJoint
from fitup.verdict.lengths import format_mm

__all__ = [
    "COMPARISON_SCHEMA_FILE",
    "Compared",
    "compare_records",
    "comparison_schema_text",
]

COMPARISON_SCHEMA_FILE = SCHEMA_FILE.with_name("comparison_record.schema.json")
"""The published schema; a test proves that it is what `comparison_schema_text` gives."""

_ALIKE = 0.02
_CAUTION = (
    "A comparison informs the fitter as the records do; it releases nothing for welding and replaces no "
    "inspection that a procedure asks for."
)
_PLACES = (
    "places count from each photo's own datum mark: that both marks lay at the same place of the joint is "
    "not checked"
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Compared:
    """Both records, what changed, and all of it as data."""

    before: Settlements
    after: Settlements
    comparison: Comparison
    record: ComparisonRecord


def compare_records(
    before: Settlements,
    after: Settlements,
    *,
    shift_mm: float = 0.0,
    anyway: bool = False,
    filing: Filing | None = None,
) -> Compared:
    """Compare two records of one joint, each with what was settled beside it.

    Raises
    ------
    UsageError
        When they are of different joints or of the same photo, and `anyway` is not said; or when they have no
        place in common.
    """
    then, now = before.judged.record, after.judged.record
    against = _reasons_against(then, now)
    if against and not anyway:
        raise UsageError(f"the records cannot be compared: {'; '.join(against)}; with --anyway they are.")
    shared, shared_words = _shared_print(then, now)
    comparison = compare(
        _with_settled(before),
        _with_settled(after),
        spots_before=before.verdict.spots,
        spots_after=after.verdict.spots,
        shift_mm=shift_mm,
        shared_relative=shared,
    )
    filing = filing or Filing()
    record = ComparisonRecord(
        schema_version=1,
        kind="comparison",
        program=SettlementProgramEntry(name="fitup", version=__version__),
        who=printable_name(filing.who),
        compared_at_utc=filing.clock().astimezone(UTC),
        before=_compared(before),
        after=_compared(after),
        shift_mm=shift_mm,
        shared_print=shared_words,
        remarks=(*against, *_differences(then, now), _place_remark(shift_mm)),
        sentence=_sentence(comparison, str(after.verdict.word)),
        spots=tuple(_fate_entry(spot) for spot in comparison.spots),
        changes=_change_entries(comparison),
        cautions=(_CAUTION,),
    )
    return Compared(before=before, after=after, comparison=comparison, record=record)


def comparison_schema_text() -> str:
    """The JSON Schema (draft 2020-12) of a comparison, as the text of the published file."""
    schema: dict[str, Any] = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:fitup:comparison:{COMPARISON_SCHEMA_VERSION}",
        **ComparisonRecord.model_json_schema(mode="validation"),
    }
    return json.dumps(schema, indent=1, ensure_ascii=False) + "\n"


def _with_settled(settlements: Settlements) -> JudgedJoint:
    return replace(settlements.judged.joint, states=settlements.verdict.stations.states)


def _reasons_against(then: AnyRecord, now: AnyRecord) -> list[str]:
    """Why the two are hardly of one joint, each in a few words."""
    found = []
    for what in ("job", "part", "joint"):
        one, other = (getattr(record.filing, what) for record in (then, now))
        if one and other and one != other:
            found.append(f"they are of {what} {one} and of {what} {other}")
    if then.request.joint_kind != now.request.joint_kind:
        found.append(f"one joint is a {then.request.joint_kind} joint, the other {now.request.joint_kind}")
    digests = ({photo.sha256 for photo in photos_of(record)} for record in (then, now))
    if not set.isdisjoint(*digests):
        found.append("both were made from the same photo, which shows no change")
    return found


def _differences(then: AnyRecord, now: AnyRecord) -> list[str]:
    """What does not forbid a comparison but must be known when it is read."""
    found = []
    if then.limit.limit_mm != now.limit.limit_mm:
        found.append(
            f"the limit was {then.limit.limit_mm:.2f} mm and is {now.limit.limit_mm:.2f} mm: a spot may be "
            "closed, or new, by the limit alone"
        )
    wires = [None if record.request.wire is None else record.request.wire.reading for record in (then, now)]
    if wires[0] != wires[1]:
        found.append(f"the wire was {wires[0] or 'none'} and is {wires[1] or 'none'}")
    if (then.request.decision, then.request.spot_rule, then.request.seen_rule) != (
        now.request.decision,
        now.request.spot_rule,
        now.request.seen_rule,
    ):
        found.append("the two were judged by different rules")
    sheets = [record.request.sheet for record in (then, now)]
    if sheets[0] and sheets[1] and not _alike(sheets[0].thickness_mm, sheets[1].thickness_mm):
        found.append(f"the sheet was {sheets[0].reading} and is {sheets[1].reading}")
    if _strips(then) != _strips(now):
        found.append("different strips lay beside the joint")
    if _correction_of(then) != _correction_of(now):
        found.append("the print records correct the gap differently: a change may come from that alone")
    if now.filing.filed_at_utc < then.filing.filed_at_utc:
        found.append("the first record is the later one: were they given the wrong way round?")
    if then.program != now.program:
        found.append("they were measured by different versions of the program or its libraries")
    return found


def _alike(one: float, other: float) -> bool:
    return abs(one - other) <= _ALIKE * max(one, other)


def _strips(record: AnyRecord) -> set[int]:
    scales = [record.scale] if isinstance(record, InspectionRecord) else [one.scale for one in record.photos]
    return {scale.target.strip_number for scale in scales}


def _check_of(record: AnyRecord) -> PrintCheckEntry | None:
    return record.scale.print_check if isinstance(record, InspectionRecord) else record.print_check


def _correction_of(record: AnyRecord) -> CorrectionEntry | None:
    check = _check_of(record)
    return None if check is None else check.correction


def _shared_print(then: AnyRecord, now: AnyRecord) -> tuple[float, str]:
    """What both prints have in common: only a print check says that they are the same print."""
    first, second = _check_of(then), _check_of(now)
    if first is None or second is None or first.number != second.number:
        return 0.0, "nothing is taken as shared: no print check says that both used the same print"
    share = min(first.u_relative, second.u_relative)
    return share, f"both used the print of check {first.number}: its error acts on the change alone"


def _place_remark(shift_mm: float) -> str:
    moved = f"; {format_mm(shift_mm)} was added to the places after" if shift_mm else ""
    return _PLACES + moved


def _sentence(comparison: Comparison, word: str) -> str:
    """One sentence for the fitter: how many spots are closed, what is left, where the gap changed most."""
    count = Counter(spot.fate for spot in comparison.spots)
    before = len(comparison.spots) - count[Fate.NEW]
    parts = [f"{count[Fate.CLOSED]} of {before} {'spot' if before == 1 else 'spots'} closed"]
    if not before:
        parts = ["there was no spot before"]
    for fate, words in ((Fate.REMAINS, "left"), (Fate.NOT_SEEN, "not seen again"), (Fate.NEW, "new")):
        if count[fate]:
            places = [from_to(spot.start_mm, spot.end_mm) for spot in comparison.of(fate)]
            parts.append(f"{count[fate]} {words} ({_few(places)})")
    return f"{word} now: {'; '.join(parts)}; {_largest(comparison)}"


def _few(places: list[str]) -> str:
    return ", ".join(places[:3]) + (f" and {len(places) - 3} more" if len(places) > 3 else "")


def _largest(comparison: Comparison) -> str:
    change = comparison.change
    sure = np.abs(change.change_mm) > COVERAGE_FACTOR * change.u_change_mm  # False where not seen in both
    if not np.isfinite(change.change_mm).any():
        return "no place was seen in both"
    if not sure.any():
        return "no change of the gap that is surer than its uncertainty"
    index = int(np.argmax(np.where(sure, np.abs(change.change_mm), -1.0)))
    mm, u = float(change.change_mm[index]), float(change.u_change_mm[index])
    way = "narrower" if mm < 0 else "wider"
    return (
        f"largest change {abs(mm):.2f} ± {COVERAGE_FACTOR * u:.2f} mm {way} (k = 2) at "
        f"{float(change.place_mm[index]):.0f} mm from the datum mark"
    )


def _compared(settlements: Settlements) -> entry.ComparedEntry:
    judged = settlements.judged
    return entry.ComparedEntry(
        record=RecordReference(
            name=judged.name,
            sha256=judged.sha256,
            kind=cast("Literal['photo', 'seam', 'sides']", judged.kind),
        ),
        photos=tuple(photo.name for photo in photos_of(judged.record)),
        filing=judged.record.filing,
        limit_mm=judged.joint.limit_mm,
        measured_word=judged.joint.word.value,
        settlements=len(settlements.records),
        word=settlements.verdict.word.value,
    )


def _fate_entry(spot: SpotFate) -> entry.FateEntry:
    return entry.FateEntry(
        fate=spot.fate.value,
        state=cast("SpotWord", spot.state.value),
        now=cast("Literal['within', 'over', 'doubtful', 'unseen', 'short land']", spot.now.value),
        start_mm=spot.start_mm,
        end_mm=spot.end_mm,
        before_mm=_null(spot.before_mm),
        after_mm=_null(spot.after_mm),
        change_mm=_null(spot.change_mm),
        u_change_mm=_null(spot.u_change_mm),
    )


def _change_entries(comparison: Comparison) -> tuple[entry.ChangeEntry, ...]:
    change = comparison.change
    names = tuple(entry.ChangeEntry.model_fields)
    columns = [getattr(change, name) for name in names]
    return tuple(
        entry.ChangeEntry.model_validate(
            {name: _null(float(value)) for name, value in zip(names, row, strict=True)}
        )
        for row in zip(*columns, strict=True)
    )


def _null(value: float) -> float | None:
    return None if math.isnan(value) else value

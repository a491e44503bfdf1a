"""From a reading as given to its settlement, and from settlements back to readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import groupby
from typing import cast

from fitup import __version__
from fitup.errors import UsageError
from fitup.evidence import settlement_record as entry
from fitup.evidence.judged_record import JudgedRecord
from fitup.evidence.record import SpotWord
from fitup.evidence.settlement_record import SettlementRecord
from fitup.evidence.subject import Filing
from fitup.evidence.writing import printable_name
from fitup.verdict.feeler import FeelerReading
from fitup.verdict.judged import JudgedJoint
from fitup.verdict.lands import LandState
from fitup.verdict.lengths import format_mm
from fitup.verdict.settled import SettledVerdict, settle

__all__ = [
    "Given",
    "holding",
    "reading_of",
    "same_verdict",
    "settlement_record",
    "spot_stretch",
    "verdict_of",
]

_USUAL = "usual: 0.01 mm a blade and 1 % of the thickness as limits, rectangular (common practice, no source)"
_SAID = "as given"
_CAUTION = (
    "A settlement informs the fitter as the record does; it releases nothing for welding and replaces no "
    "inspection that a procedure asks for."
)
_FEELS = (
    "A blade feels the narrowest place in the plates' whole thickness, and burrs and chips stop it: readings "
    "hold for clean, deburred edges, tried everywhere along the stretch with a corner of the blade."
)


@dataclass(frozen=True, kw_only=True)
class Given:
    """What a person gives: a reading with what belongs to it, or the number of a settlement to withdraw."""

    reading: FeelerReading | None = None
    as_written: str = ""
    spot: int | None = None
    read_at: datetime | None = None
    blade_set: str = ""
    remark: str = ""
    withdraws: int | None = None


def spot_stretch(joint: JudgedJoint, number: int) -> tuple[float, float]:
    """From where to where spot `number` of the record reaches, counted from 1 [mm].

    Raises
    ------
    UsageError
        When there is no such spot, or no blade can settle it.
    """
    count = len(joint.spots)
    if not 1 <= number <= count:
        has = f"spots 1 to {count}" if count > 1 else "one spot" if count else "no spot"
        raise UsageError(f"the record has {has}, not spot {number}: see fitup record show.")
    spot = joint.spots[number - 1]
    if spot.state == LandState.SHORT:
        raise UsageError(
            f"spot {number} is a short land, which no feeler gauge settles: look at the land, and measure it."
        )
    return spot.start_mm, spot.end_mm


def holding(records: Sequence[SettlementRecord]) -> list[SettlementRecord]:
    """Settlements with a reading that was not withdrawn."""
    withdrawn = {one.withdraws for one in records}
    return [one for one in records if one.reading is not None and one.number not in withdrawn]


def reading_of(settlement: SettlementRecord) -> FeelerReading:
    """The reading that a settlement holds; UsageError where it is not possible."""
    stored = settlement.reading
    if stored is None:
        raise UsageError(f"settlement {settlement.number} holds no reading.")
    return FeelerReading(
        blades_mm=stored.blades_mm,
        goes_in=stored.goes_in,
        start_mm=stored.start_mm,
        end_mm=stored.end_mm,
        flat=stored.flat,
        u_blades_mm=stored.u_blades_mm,
    )


def settlement_record(
    judged: JudgedRecord,
    before: Sequence[SettlementRecord],
    digests: Sequence[str],
    given: Given,
    filing: Filing,
) -> SettlementRecord:
    """The next settlement of a record: what is given, and the verdict with it.

    Raises
    ------
    UsageError
        When the stretch lies outside the joint, or the withdrawn number is no reading that holds.
    """
    now = filing.clock()
    if given.withdraws is not None and given.withdraws not in {one.number for one in holding(before)}:
        raise UsageError(
            f"settlement {given.withdraws} holds no reading to withdraw: see fitup settle --show."
        )
    if given.reading is not None:
        _check_place(judged.joint, given.reading)
    record, asked = judged.record, judged.record.request
    draft = SettlementRecord(
        schema_version=1,
        kind="settlement",
        number=len(before) + 1,
        program=entry.SettlementProgramEntry(name="fitup", version=__version__),
        record=entry.RecordReference(
            name=printable_name(judged.path.name),
            sha256=judged.sha256,
            kind=judged.kind,  # type: ignore[arg-type]
        ),
        earlier=tuple(
            entry.EarlierEntry(number=number, sha256=sha256) for number, sha256 in enumerate(digests, start=1)
        ),
        who=printable_name(filing.who),
        filed_at_utc=now.astimezone(UTC),
        reading=_reading_entry(given, now),
        withdraws=given.withdraws,
        limit_mm=record.limit.limit_mm,
        limit_sentence=record.limit.sentence,
        decision=asked.decision,
        spot_rule=asked.spot_rule,
        seen_rule=asked.seen_rule,
        verdict=verdict_of([], settle(judged.joint, []), judged.joint),
        cautions=(_CAUTION, _FEELS),
    )
    records = [*before, draft]
    settled = settle(judged.joint, [reading_of(one) for one in holding(records)])
    return draft.model_copy(update={"verdict": verdict_of(records, settled, judged.joint)})


def verdict_of(
    records: Sequence[SettlementRecord], settled: SettledVerdict, joint: JudgedJoint
) -> entry.SettledVerdictEntry:
    """The settled verdict as data; readings by the numbers of their settlements."""
    numbers = [one.number for one in holding(records)]

    def named(indices: tuple[int, ...]) -> tuple[int, ...]:
        return tuple(numbers[index] for index in indices)

    return entry.SettledVerdictEntry(
        word=settled.word.value,
        measured_word=settled.measured.value,
        sentence=settled.sentence,
        advice=settled.advice,
        known_share=settled.known_share,
        spots=tuple(
            entry.SettledSpotEntry(
                state=cast("SpotWord", spot.state.value),
                start_mm=spot.start_mm,
                end_mm=spot.end_mm,
                advice=spot.advice,
                by=named(spot.by),
            )
            for spot in settled.spots
        ),
        stretches=_stretches(settled, joint, numbers),
        remarks=tuple(
            entry.RemarkEntry(settlement=number, text=text)
            for number, said in zip(numbers, settled.stations.remarks, strict=True)
            for text in said
        ),
    )


def same_verdict(stated: entry.SettledVerdictEntry, follows: entry.SettledVerdictEntry) -> bool:
    """Whether two verdicts say the same of every station; sentences may be worded anew."""

    def content(verdict: entry.SettledVerdictEntry) -> tuple[object, ...]:
        spots = [(spot.state, spot.start_mm, spot.end_mm, spot.by) for spot in verdict.spots]
        return verdict.word, verdict.measured_word, verdict.known_share, verdict.stretches, spots

    return content(stated) == content(follows)


def _reading_entry(given: Given, now: datetime) -> entry.ReadingEntry | None:
    reading = given.reading
    if reading is None:
        return None
    read_at = given.read_at or now
    if read_at > now:
        raise UsageError("the reading was taken in the future: check --when.")
    return entry.ReadingEntry(
        as_written=printable_name(given.as_written),
        blades_mm=reading.blades_mm,
        u_blades_mm=reading.u_mm,
        u_source=_USUAL if reading.u_blades_mm is None else _SAID,
        goes_in=reading.goes_in,
        flat=reading.flat,
        start_mm=reading.start_mm,
        end_mm=reading.end_mm,
        spot=given.spot,
        read_at_utc=read_at.astimezone(UTC),
        blade_set=printable_name(given.blade_set),
        remark=printable_name(given.remark),
    )


def _check_place(joint: JudgedJoint, reading: FeelerReading) -> None:
    if joint.touched(reading.start_mm, reading.end_mm).any():
        return
    first_mm, last_mm = float(joint.cell_start_mm[0]), float(joint.cell_end_mm[-1])
    raise UsageError(
        f"the stretch {format_mm(reading.start_mm)} to {format_mm(reading.end_mm)} lies outside the joint, "
        f"which was looked at from {format_mm(first_mm)} to {format_mm(last_mm)}."
    )


def _stretches(
    settled: SettledVerdict, joint: JudgedJoint, numbers: Sequence[int]
) -> tuple[entry.StretchEntry, ...]:
    stations = settled.stations
    found = []
    rows = groupby(
        range(len(stations.states)), key=lambda index: (stations.states[index], stations.by[index])
    )
    for (state, by), members in rows:
        cells = list(members)
        found.append(
            entry.StretchEntry(
                state=state.value,
                start_mm=float(joint.cell_start_mm[cells[0]]),
                end_mm=float(joint.cell_end_mm[cells[-1]]),
                by=tuple(numbers[index] for index in by),
            )
        )
    return tuple(found)

"""Welds with their outcomes out of an archive: the gap before welding beside what was found afterwards.

The rules. The gap of a weld is the largest gap of the last record of its joint before the outcome: of the
same job, part, joint and serial number; where there is no serial number, of the record that the outcome
names. Of several outcomes of one weld the worst counts, since what was repaired had not been sound. Repaired
and scrapped count as not sound. Void entries do not count, corrections do. A record whose verdict was to take
the photo again does not count: the largest gap may lie where nothing was seen.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import select

from fitup.errors import StorageError
from fitup.evidence.archive.afterwards import corrected
from fitup.evidence.archive.archive import Archive, Stored
from fitup.evidence.archive.entry import MEASURED_KINDS, About
from fitup.evidence.archive.finding import Query
from fitup.evidence.archive.joint_profiles import entries_of, folded
from fitup.evidence.archive.models import FindingRow
from fitup.evidence.archive.profile_reading import plain_profile

__all__ = ["Weld", "Welds", "welds_with_outcomes"]

_WORST_FIRST = ("scrapped", "repaired", "sound")
_Key = tuple[str, str, str, str]


@dataclass(frozen=True, kw_only=True)
class Weld:
    """One weld: the entry that its gap was measured in, and what was found afterwards."""

    number: int
    outcome_number: int
    day: str
    """Of the outcome."""
    job: str
    part: str
    joint: str
    serial: str
    wire_um: int
    """0 for a weld without wire."""
    joint_kind: str
    gap_mm: float
    limit_mm: float
    word: str

    @property
    def sound(self) -> bool:
        """Whether nothing had to be done about it."""
        return self.word == "sound"


@dataclass(frozen=True, kw_only=True)
class Welds:
    """All welds that count, in the order of the entries of their gaps; what was left out, by reason."""

    welds: tuple[Weld, ...]
    left_out: Mapping[str, int]
    faults: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class _Outcome:
    number: int
    of: int
    day: str
    word: str


def welds_with_outcomes(archive: Archive) -> Welds:
    """All welds of which an outcome is archived.

    Raises
    ------
    StorageError
        When the archive cannot be read, or an entry was altered.
    """
    corrections: dict[int, list[Stored]] = defaultdict(list)
    for one in reversed(archive.search(Query(kind="correction"))):
        corrections[one.entry.refers_to[0].number].append(one)
    left_out: Counter[str] = Counter()
    outcomes = _outcomes(archive, corrections, left_out)
    named = sorted({one.of for one in outcomes})
    about = {one.entry.number: _about(one, corrections) for one in entries_of(archive, named)}
    records = _records(archive, corrections) if any(folded(one.serial) for one in about.values()) else {}
    last = {one.number: _last_record(one, about, records) for one in outcomes}
    worst: dict[int, _Outcome] = {}
    for outcome in sorted(outcomes, key=lambda one: (_WORST_FIRST.index(one.word), one.number)):
        worst.setdefault(last[outcome.number], outcome)
    left_out["further outcome of the same weld"] += len(outcomes) - len(worst)
    welds, faults = [], []
    for stored in entries_of(archive, sorted(worst)):
        weld = _weld(archive, stored, worst[stored.entry.number], corrections)
        if isinstance(weld, Weld):
            welds.append(weld)
        elif weld.startswith("entry "):
            faults.append(weld)
        else:
            left_out[weld] += 1
    return Welds(
        welds=tuple(welds),
        left_out={reason: count for reason, count in left_out.items() if count},
        faults=tuple(faults),
    )


def _outcomes(
    archive: Archive, corrections: Mapping[int, Sequence[Stored]], left_out: Counter[str]
) -> list[_Outcome]:
    found = []
    for stored in reversed(archive.search(Query(kind="outcome"))):
        entry = stored.entry
        if entry.outcome is None or _void(corrections.get(entry.number, ())):
            left_out["void outcome"] += 1
            continue
        found.append(
            _Outcome(
                number=entry.number,
                of=entry.refers_to[0].number,
                day=entry.about.day,
                word=entry.outcome.word,
            )
        )
    return found


def _records(
    archive: Archive, corrections: Mapping[int, Sequence[Stored]]
) -> dict[_Key, list[tuple[str, int]]]:
    """Day and number of all measured records with a serial number that are not void, by what they are of."""
    row = FindingRow
    wanted = select(row.number, row.day, row.job, row.part, row.joint, row.serial)
    with archive.database.reading() as connection:
        rows = connection.execute(wanted.where(row.kind.in_(MEASURED_KINDS))).all()
    found: dict[_Key, list[tuple[str, int]]] = defaultdict(list)
    touched = []
    for number, day, job, part, joint, serial in rows:
        if number in corrections:
            touched.append(int(number))
        elif serial:
            found[(job, part, joint, serial)].append((day, int(number)))
    for stored in entries_of(archive, touched):
        about, number = _about(stored, corrections), stored.entry.number
        if folded(about.serial) and not _void(corrections[number]):
            found[_key(about)].append((about.day, number))
    return found


def _last_record(
    outcome: _Outcome, about: Mapping[int, About], records: Mapping[_Key, Sequence[tuple[str, int]]]
) -> int:
    """The entry of the last record of the joint before its outcome; if no other, that which it names."""
    named = about[outcome.of]
    if not folded(named.serial):
        return outcome.of
    before = (
        (day, number)
        for day, number in records.get(_key(named), ())
        if day <= outcome.day and number < outcome.number
    )
    return max(before, default=(named.day, outcome.of))[1]


def _weld(
    archive: Archive, stored: Stored, outcome: _Outcome, corrections: Mapping[int, Sequence[Stored]]
) -> Weld | str:
    """The weld, why it does not count, or what is wrong with its record ("entry N: ...")."""
    entry, about = stored.entry, _about(stored, corrections)
    file = entry.file("record")
    if _void(corrections.get(entry.number, ())):
        return "void record"
    if about.wire_um is None or file is None:
        return "wire not known"
    try:
        content = archive.store.read(file.sha256)
        record = plain_profile(content, entry.kind, f"the record of entry {entry.number}")
    except StorageError as error:
        return f"entry {entry.number}: {str(error).rstrip('.')}"
    gap_mm = record["verdict"]["largest_gap_mm"]
    if record["verdict"]["word"] == "retake" or gap_mm is None:
        return "too little of the joint seen"
    return Weld(
        number=entry.number,
        outcome_number=outcome.number,
        day=outcome.day,
        job=about.job,
        part=about.part,
        joint=about.joint,
        serial=about.serial,
        wire_um=about.wire_um,
        joint_kind=record["request"]["joint_kind"],
        gap_mm=max(0.0, gap_mm),
        limit_mm=record["limit"]["limit_mm"],
        word=outcome.word,
    )


def _about(stored: Stored, corrections: Mapping[int, Sequence[Stored]]) -> About:
    return corrected(stored.entry.about, corrections.get(stored.entry.number, ()))


def _void(corrections: Sequence[Stored]) -> bool:
    return any(one.entry.correction is not None and one.entry.correction.void for one in corrections)


def _key(about: About) -> _Key:
    return (folded(about.job), folded(about.part), folded(about.joint), folded(about.serial))

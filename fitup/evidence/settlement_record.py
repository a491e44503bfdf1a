"""A settlement, as data: one feeler-gauge reading beside a record, and the verdict with all readings so far.

The record it belongs to is named by the SHA-256 of its bytes and never changed. Settlements of one record
are numbered from 1 and each names those before it by their digests, so that one which was altered or is
missing is told by the next. Lengths are in mm from the foot of the datum mark, times in UTC, `u_...` standard
uncertainties (k = 1).

History of the format
---------------------
1   first form
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from fitup.evidence import record as entry

__all__ = [
    "SETTLEMENT_SCHEMA_VERSION",
    "EarlierEntry",
    "ReadingEntry",
    "RecordReference",
    "RemarkEntry",
    "SettledSpotEntry",
    "SettledVerdictEntry",
    "SettlementProgramEntry",
    "SettlementRecord",
    "StretchEntry",
]

SETTLEMENT_SCHEMA_VERSION = 1

Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Share = Annotated[float, Field(ge=0, le=1)]
Number = Annotated[int, Field(ge=1, le=9999)]
Digest = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]


class _Entry(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class SettlementProgramEntry(_Entry):
    """What judged."""

    name: Literal["fitup"]
    version: str


class RecordReference(_Entry):
    """The record that is settled, by its file's name and bytes."""

    name: str
    sha256: Digest
    kind: Literal["photo", "seam", "sides"]


class EarlierEntry(_Entry):
    """A settlement before this one."""

    number: Number
    sha256: Digest


class ReadingEntry(_Entry):
    """One trial with a feeler gauge.

    `goes_in`: at one place of the stretch or more; not: nowhere along it. `flat`: with the whole width and
    not on its corner. `spot` is the spot of the record that was named, counted from 1.
    """

    as_written: str
    blades_mm: Annotated[tuple[Positive, ...], Field(min_length=1)]
    u_blades_mm: NotNegative
    u_source: str
    goes_in: bool
    flat: bool
    start_mm: float
    end_mm: float
    spot: Annotated[int, Field(ge=1)] | None
    read_at_utc: AwareDatetime
    blade_set: str
    remark: str


class StretchEntry(_Entry):
    """Stations of one state in a row; `by`: the settlements that made them so, none where the photo did."""

    state: entry.StateWord
    start_mm: float
    end_mm: float
    by: tuple[Number, ...]


class SettledSpotEntry(_Entry):
    """A stretch that still needs a person."""

    state: entry.SpotWord
    start_mm: float
    end_mm: float
    advice: str
    by: tuple[Number, ...]


class RemarkEntry(_Entry):
    """What must be told of a reading: that it settles nothing, or contradicts something."""

    settlement: Number
    text: str


class SettledVerdictEntry(_Entry):
    """The verdict with all readings that hold, beside that of the photo alone."""

    word: entry.VerdictWordText
    measured_word: entry.VerdictWordText
    sentence: str
    advice: str
    known_share: Share
    spots: tuple[SettledSpotEntry, ...]
    stretches: tuple[StretchEntry, ...]
    remarks: tuple[RemarkEntry, ...]


class SettlementRecord(_Entry):
    """One reading, or the withdrawal of an earlier one, and what follows.

    Exactly one of `reading` and `withdraws` is not null.
    """

    schema_version: Literal[1]
    kind: Literal["settlement"]
    number: Number
    program: SettlementProgramEntry
    record: RecordReference
    earlier: tuple[EarlierEntry, ...]
    who: str
    filed_at_utc: AwareDatetime
    reading: ReadingEntry | None
    withdraws: Number | None
    limit_mm: Positive
    limit_sentence: str
    decision: entry.DecisionEntry
    spot_rule: entry.SpotRuleEntry
    seen_rule: entry.SeenRuleEntry
    verdict: SettledVerdictEntry
    cautions: tuple[str, ...]

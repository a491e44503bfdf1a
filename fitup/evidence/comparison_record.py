"""One joint before and after, as data: two records named by their digests, and what changed between them.

Places are those of the record before, in mm from its datum mark; `shift_mm` was added to those after. `u_...`
is a standard uncertainty (k = 1). What was not seen in one of both is null.

History of the format
---------------------
1   first form
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from fitup.evidence import record as entry
from fitup.evidence.settlement_record import RecordReference, SettlementProgramEntry

__all__ = [
    "COMPARISON_SCHEMA_VERSION",
    "ChangeEntry",
    "ComparedEntry",
    "ComparisonRecord",
    "FateEntry",
]

COMPARISON_SCHEMA_VERSION = 1

NotNegative = Annotated[float, Field(ge=0)]


class _Entry(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class ComparedEntry(_Entry):
    """One of both records; `word` is its verdict with the settlements beside it, if any."""

    record: RecordReference
    photos: tuple[str, ...]
    filing: entry.FilingEntry
    limit_mm: Annotated[float, Field(gt=0)]
    measured_word: entry.VerdictWordText
    settlements: Annotated[int, Field(ge=0)]
    word: entry.VerdictWordText


class FateEntry(_Entry):
    """A spot, and what became of it; gaps are the widest in its stretch."""

    fate: Literal["closed", "remains", "not seen again", "new"]
    state: entry.SpotWord
    now: Literal["within", "over", "doubtful", "unseen", "short land"]
    start_mm: float
    end_mm: float
    before_mm: float | None
    after_mm: float | None
    change_mm: float | None
    u_change_mm: NotNegative | None


class ChangeEntry(_Entry):
    """The gap at one place before and after."""

    place_mm: float
    before_mm: float | None
    u_before_mm: NotNegative | None
    after_mm: float | None
    u_after_mm: NotNegative | None
    change_mm: float | None
    u_change_mm: NotNegative | None


class ComparisonRecord(_Entry):
    """The joint before and after."""

    schema_version: Literal[1]
    kind: Literal["comparison"]
    program: SettlementProgramEntry
    who: str
    compared_at_utc: AwareDatetime
    before: ComparedEntry
    after: ComparedEntry
    shift_mm: float
    shared_print: str
    remarks: tuple[str, ...]
    sentence: str
    spots: tuple[FateEntry, ...]
    changes: tuple[ChangeEntry, ...]
    cautions: tuple[str, ...]

"""The record's part "for information": which wire would bridge and fill the gap; it decides nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from pydantic import BaseModel, ConfigDict, Field

from fitup.evidence.rules_entry import StockWireEntry
from fitup.evidence.writing import printable_name

if TYPE_CHECKING:
    from fitup.verdict import ForInformation

__all__ = ["InformationEntry", "information_entry"]

Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]


class InformationEntry(BaseModel):
    """The gap to be bridged, the wire that bridges it, and what fills it with that wire; null where not told.

    `needed_gap_mm` is the largest gap with what is uncertain of it. `feed_mm_s` fills it at the travel that
    was given, `travel_mm_s` at the feed that was given.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    needed_gap_mm: NotNegative | None
    wire: StockWireEntry | None
    wire_in_use: bool
    feed_mm_s: NotNegative | None
    travel_mm_s: Positive | None
    sentences: tuple[str, ...]


def information_entry(told: ForInformation | None) -> InformationEntry | None:
    """The entry, where anything was told."""
    if told is None:
        return None
    wire = told.wire
    return InformationEntry(
        needed_gap_mm=told.needed_gap_mm,
        wire=None
        if wire is None
        else StockWireEntry(
            as_written=printable_name(wire.as_written), reading=wire.reading, diameter_mm=wire.diameter_mm
        ),
        wire_in_use=told.wire_in_use,
        feed_mm_s=told.feed_mm_s,
        travel_mm_s=told.travel_mm_s,
        sentences=tuple(printable_name(sentence) for sentence in told.sentences),
    )

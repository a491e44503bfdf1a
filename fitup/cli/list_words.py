"""What the screen says of a joint list that a record's settings were taken from."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fitup.evidence import InspectionRecord
    from fitup.evidence.record import FilingEntry

__all__ = ["list_sentence", "short_name"]


def list_sentence(filing: FilingEntry) -> str:
    """Where the settings come from, and which of them a person gave otherwise; "" without a list."""
    used = filing.joint_list
    if used is None:
        return ""
    instead = f"; as given now instead of the list's: {', '.join(used.instead)}" if used.instead else ""
    return f"{filing.joint} of {used.file_name}{instead}"


def short_name(record: InspectionRecord) -> str:
    """The photo, with its joint where a list told it, and what was given instead of the list's."""
    filing = record.filing
    if filing.joint_list is None:
        return record.photo.name
    instead = filing.joint_list.instead
    return f"{filing.joint}, {record.photo.name}" + (f" (as given: {', '.join(instead)})" if instead else "")

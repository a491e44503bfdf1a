"""Profiles of many entries as one table for spreadsheets (CSV) or for programs (JSON Lines), row after row.

Rows are made one by one and never held together: an archive may be larger than memory.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from fitup.evidence.archive.afterwards import corrected
from fitup.evidence.archive.archive import Stored
from fitup.evidence.archive.entry import About
from fitup.evidence.judged_record import AnyRecord
from fitup.evidence.table import PROFILE_COLUMNS, station_rows

__all__ = ["EntryProfile", "csv_parts", "entry_profile", "jsonl_parts", "spreadsheet_text"]

_COLUMNS = ("entry", "kind", "day", "job", "part", "joint", "serial", "who", "void", "verdict")
# A cell that begins with one of these is taken for a formula, or leads to one; wide forms count too.
_FORMULA = tuple("=+-@\t\r\n|＝＋－＠")
# Spreadsheets take a file without this mark for one of their own country's letters.
_MARK = "\ufeff"


@dataclass(frozen=True, kw_only=True)
class EntryProfile:
    """A measured entry with what was corrected in it since."""

    stored: Stored
    about: About
    void: bool
    record: AnyRecord


def entry_profile(stored: Stored, later: Iterable[Stored], record: AnyRecord) -> EntryProfile:
    """The profile of an entry, filed as the corrections among `later` have it."""
    later = list(later)
    void = any(one.entry.correction is not None and one.entry.correction.void for one in later)
    return EntryProfile(stored=stored, about=corrected(stored.entry.about, later), void=void, record=record)


def csv_parts(profiles: Iterable[EntryProfile]) -> Iterator[bytes]:
    """CSV (RFC 4180) in UTF-8 with a byte order mark: a header, then a row per station."""
    yield _MARK.encode() + _csv([(*_COLUMNS, *PROFILE_COLUMNS)])
    for one in profiles:
        named = [spreadsheet_text(text) for text in _named(one).values()]
        rows = station_rows(one.record.profile.stations, one.record.limit.limit_mm)
        yield _csv([*named, *row] for row in rows)


def jsonl_parts(profiles: Iterable[EntryProfile]) -> Iterator[bytes]:
    """JSON Lines in UTF-8: a line per profile, every number in full."""
    for one in profiles:
        named = {**_named(one), "entry": one.stored.entry.number, "void": one.void}
        data = {
            **named,
            "digest": one.stored.digest,
            "limit_mm": one.record.limit.limit_mm,
            "profile": one.record.profile.model_dump(mode="json"),
        }
        yield (json.dumps(data, ensure_ascii=False, allow_nan=False) + "\n").encode()


def spreadsheet_text(text: str) -> str:
    """Text that no spreadsheet takes for a formula: an apostrophe before what looks like the start of one."""
    return f"'{text}" if text.lstrip(" ").startswith(_FORMULA) else text


def _named(one: EntryProfile) -> dict[str, str]:
    entry, about = one.stored.entry, one.about
    texts = (
        *(str(entry.number), entry.kind, about.day, about.job, about.part, about.joint, about.serial),
        *(about.who, "void" if one.void else "", about.verdict),
    )
    return dict(zip(_COLUMNS, texts, strict=True))


def _csv(rows: Iterable[Iterable[str]]) -> bytes:
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\r\n").writerows(rows)
    return text.getvalue().encode("utf-8")

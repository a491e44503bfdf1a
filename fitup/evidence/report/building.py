"""From record files to a report: found, ordered by joint and time, compared, and put into sections."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from fitup.errors import StorageError, UsageError
from fitup.evidence.comparison_building import Compared, compare_records
from fitup.evidence.comparison_record import ComparisonRecord
from fitup.evidence.comparison_saving import COMPARISON_NAME, read_comparison
from fitup.evidence.judged_record import photos_of
from fitup.evidence.record_file import read_text
from fitup.evidence.report.filing_sections import (
    cautions_section,
    digests_section,
    files_section,
    people_section,
)
from fitup.evidence.report.measure_sections import (
    budget_section,
    notes_section,
    photo_sections,
    quality_section,
    scale_section,
    shape_section,
)
from fitup.evidence.report.model import Attachment, Report, Section, Sheet
from fitup.evidence.report.part_sections import compared_section, overview_section
from fitup.evidence.report.result_sections import (
    head_section,
    pictures_section,
    settled_section,
    spots_section,
)
from fitup.evidence.report.rule_sections import asked_section, information_section, limit_section
from fitup.evidence.report.source import Source, read_source
from fitup.evidence.saving import RECORD_NAME, TABLE_NAME
from fitup.evidence.subject import Filing
from fitup.evidence.writing import printable_name

__all__ = ["build_report", "find_records"]

_MOST_RECORDS = 200
_DIGITS = re.compile(r"([0-9]+)")


@dataclass(frozen=True, kw_only=True, eq=False)
class _Entry:
    """A record in the report, with the names of its files inside it."""

    source: Source
    prefix: str
    compared: Compared | None
    apart: str
    """Why it could not be compared with the joint's record before; "" where it was, or there is none."""

    @property
    def files(self) -> list[Attachment]:
        settled = self.source.settlements
        name = self.title
        return [
            Attachment(
                name=f"{self.prefix}{RECORD_NAME}",
                content=self.source.content,
                mime="application/json",
                relation="Source",
                words=f"record of {name}",
            ),
            Attachment(
                name=f"{self.prefix}{TABLE_NAME}",
                content=self.source.table,
                mime="text/csv",
                relation="Data",
                words=f"profile of {name}, every station",
            ),
            *(
                Attachment(
                    name=f"{self.prefix}{settled.path(number).name}",
                    content=read_text(settled.path(number)),
                    mime="application/json",
                    relation="Source",
                    words=f"settlement of {name}, SHA-256 {digest}",
                )
                for number, digest in enumerate(settled.digests, start=1)
            ),
        ]

    @property
    def title(self) -> str:
        return title_of(self.source)


def build_report(files: Sequence[str]) -> Report:
    """Read records, and what lies beside them, and put together what the report says.

    Parameters
    ----------
    files : record files, folders of one record, or folders of such folders; comparisons of these records too

    Raises
    ------
    UsageError
        When there is no record among them, or too many.
    StorageError
        When one of them cannot be read or is damaged.
    """
    records, comparisons = find_records(files)
    sources = _once(read_source(file) for file in records)
    kept = [read_comparison(path) for path in comparisons]
    entries = _entries(sorted(sources, key=_order), kept)
    attachments = [file for entry in entries for file in entry.files]
    attachments += [
        Attachment(
            name=f"comparison-{number}.json",
            content=read_text(path),
            mime="application/json",
            relation="Source",
            words="comparison before and after, as it was saved",
        )
        for number, path in enumerate(comparisons, start=1)
    ]
    sheets = [_sheet(entry, attachments if len(entries) == 1 else None) for entry in entries]
    if len(entries) > 1:
        sheets.insert(0, _overview(entries, attachments))
    return Report(
        title=sheets[0].title,
        filed_at=max(_moments(entries, kept)),
        sheets=tuple(sheets),
        attachments=tuple(sorted(attachments, key=lambda file: file.name)),
    )


def find_records(files: Sequence[str]) -> tuple[list[str], list[Path]]:
    """Record files and comparison files among what a person gave, in its order."""
    found: list[Path] = []
    for file in files:
        inside = _inside(Path(file))
        if not inside:
            raise UsageError(
                f"{printable_name(file)} holds no record: give folders that `fitup inspect` wrote, or their "
                f"{RECORD_NAME}."
            )
        found += inside
    records = [str(path) for path in found if path.name != COMPARISON_NAME]
    if not records:
        raise UsageError("there is no record to report on: give record files or their folders.")
    if len(records) > _MOST_RECORDS:
        raise UsageError(f"{len(records)} records are too many for one report: give one part at a time.")
    return records, [path for path in found if path.name == COMPARISON_NAME]


def _inside(path: Path) -> list[Path]:
    """Records and comparisons in a folder or in the folders in it; what is no folder stands for itself."""
    try:
        if not path.is_dir():
            return [path]
        folders = [path, *sorted(one for one in path.iterdir() if one.is_dir() and one.name[0] != ".")]
        names = (RECORD_NAME, COMPARISON_NAME)
        own = [path / name for name in names if (path / name).is_file()]
        return own or [one / name for one in folders for name in names if (one / name).is_file()]
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or str(error)).lower()
        raise StorageError(f"{printable_name(str(path))} cannot be read: {reason}.") from None


def title_of(source: Source) -> str:
    """The joint, or the photo where no joint was filed."""
    record = source.record
    return f"joint {record.filing.joint}" if record.filing.joint else photos_of(record)[0].name


def _once(sources: Iterable[Source]) -> list[Source]:
    """The same record given twice is one."""
    return list({source.judged.sha256: source for source in sources}.values())


def _order(source: Source) -> tuple[object, ...]:
    """By job, part and joint, numbers in names as numbers; of one joint the earlier first."""
    filing = source.record.filing
    joint = [(0, int(part), "") if part.isdecimal() else (1, 0, part) for part in _DIGITS.split(filing.joint)]
    photo = photos_of(source.record)[0].name
    return filing.job, filing.part, joint, filing.filed_at_utc, photo, source.judged.sha256


def _entries(sources: list[Source], kept: list[ComparisonRecord]) -> list[_Entry]:
    digits = len(str(len(sources)))
    entries = []
    for k, source in enumerate(sources):
        before = sources[k - 1] if k and _same_joint(sources[k - 1], source) else None
        compared, apart = (None, "") if before is None else _compared(before, source, kept)
        prefix = f"{k + 1:0{digits}d}-" if len(sources) > 1 else ""
        entries.append(_Entry(source=source, prefix=prefix, compared=compared, apart=apart))
    return entries


def _same_joint(one: Source, other: Source) -> bool:
    first, second = one.record.filing, other.record.filing
    same = (first.job, first.part, first.joint) == (second.job, second.part, second.joint)
    return bool(first.joint) and same


def _compared(before: Source, after: Source, kept: list[ComparisonRecord]) -> tuple[Compared | None, str]:
    """Both compared, as a person compared them where that was kept; else why they could not be."""
    pair = before.judged.sha256, after.judged.sha256
    own = next((one for one in kept if (one.before.record.sha256, one.after.record.sha256) == pair), None)
    filed_at = after.record.filing.filed_at_utc
    try:
        compared = compare_records(
            before.settlements,
            after.settlements,
            shift_mm=0.0 if own is None else own.shift_mm,
            anyway=own is not None,
            filing=Filing(who="" if own is None else own.who, clock=lambda: filed_at),
        )
    except UsageError as error:
        return None, str(error)
    return compared, ""


def _moments(entries: list[_Entry], kept: list[ComparisonRecord]) -> list[datetime]:
    return [
        *(entry.source.record.filing.filed_at_utc for entry in entries),
        *(one.filed_at_utc for entry in entries for one in entry.source.settlements.records),
        *(one.compared_at_utc for one in kept),
    ]


def _sheet(entry: _Entry, attachments: list[Attachment] | None) -> Sheet:
    """One joint; `attachments` where the sheet is the whole report."""
    source, record = entry.source, entry.source.record
    sections = [
        head_section(source),
        compared_section(entry.compared, entry.apart),
        spots_section(source),
        settled_section(source),
        pictures_section(source),
        information_section(record),
        limit_section(record),
        budget_section(record),
        scale_section(record),
        *photo_sections(record),
        quality_section(record),
        shape_section(record),
        asked_section(record),
        notes_section(record),
        people_section(source),
        digests_section(source, f"{entry.prefix}{RECORD_NAME}"),
    ]
    if attachments is not None:
        sections += [files_section(attachments), cautions_section([record])]
    title = entry.title[:1].upper() + entry.title[1:] if record.filing.joint else entry.title
    return Sheet(title=title, beside=_beside(entry), sections=_filled(sections))


def _overview(entries: list[_Entry], attachments: list[Attachment]) -> Sheet:
    sources = [entry.source for entry in entries]
    filings = [source.record.filing for source in sources]
    parts, jobs = {one.part for one in filings}, {one.job for one in filings}
    title = f"Part {filings[0].part}" if len(parts) == 1 and filings[0].part else "Joints inspected"
    job = f"job {filings[0].job}" if len(jobs) == 1 and filings[0].job else ""
    sections = [
        overview_section(sources, [entry.compared for entry in entries]),
        cautions_section(source.record for source in sources),
        files_section(attachments),
    ]
    return Sheet(title=title, beside=job, sections=_filled(sections))


def _filled(sections: Iterable[Section]) -> tuple[Section, ...]:
    return tuple(section for section in sections if section.blocks)


def _beside(entry: _Entry) -> str:
    filing = entry.source.record.filing
    photos = photos_of(entry.source.record)
    named = [
        f"{filing.filed_at_utc:%Y-%m-%d %H:%M} UTC",
        f"job {filing.job}" if filing.job else "",
        f"part {filing.part}" if filing.part else "",
        photos[0].name if len(photos) == 1 else f"{len(photos)} photos",
    ]
    return " · ".join(text for text in named if text)

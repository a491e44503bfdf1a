"""Sections on who and what: people, program, digests, files inside the report, and cautions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from fitup.evidence.judged_record import AnyRecord, photos_of
from fitup.evidence.report.model import Attachment, Block, Facts, Lines, Section, Table
from fitup.evidence.report.numbers import known, when
from fitup.evidence.report.source import Source

__all__ = ["cautions_section", "digests_section", "files_section", "people_section"]

_CAUTIONS = (
    "Local codes, the welding procedure and licensed or certified practice decide; nothing here releases a "
    "joint for welding.",
    "A hand-held welding laser is a class 4 laser: it blinds and burns, also by reflection from bright "
    "sheet. Trained people only, eyewear rated for its wavelength for everybody in the area, enclosure and "
    "interlocks working. Take photos with the laser switched off and locked.",
    "Welding stainless gives off fume with chromium, also hexavalent: use extraction at the source.",
    "Cut sheet has sharp edges and burrs: wear gloves.",
)


def people_section(source: Source) -> Section:
    """Who filed it, for what, and who settled what."""
    filing = source.record.filing
    rows = [
        ("job", known(filing.job)),
        ("part", known(filing.part)),
        ("joint", known(filing.joint)),
        ("inspected by", known(filing.who)),
        ("filed", when(filing.filed_at_utc)),
    ]
    used = filing.joint_list
    if used is not None:
        rows.append(("joint list", f"{used.file_name}, SHA-256 {used.sha256}"))
        if used.instead:
            rows.append(("given otherwise", ", ".join(used.instead)))
    settlers = dict.fromkeys(one.who for one in source.settlements.records)
    if settlers:
        rows.append(("settled by", ", ".join(settlers)))
    return Section(title="People and filing", blocks=(Facts(rows=tuple(rows)),))


def digests_section(source: Source, record_name: str) -> Section:
    """The digest of everything that the report rests on, and what measured."""
    record = source.record
    program = record.program
    rows = [
        ("record", f"{record_name}, SHA-256 {source.judged.sha256}"),
        *(("photo", f"{photo.name}, SHA-256 {photo.sha256}") for photo in photos_of(record)),
        *(
            ("picture", f"{one.name}, SHA-256 {one.sha256}, as found")
            for one in source.overlays
            if one is not None
        ),
        *(
            (f"settlement {number}", f"SHA-256 {digest}")
            for number, digest in enumerate(source.settlements.digests, start=1)
        ),
        (
            "measured by",
            f"{program.name} {program.version}, Python {program.python}, NumPy {program.numpy}, "
            f"OpenCV {program.opencv}",
        ),
        (
            "record's version",
            f"{_kind(record)}{record.schema_version} (older ones are read as the present one)",
        ),
    ]
    told = (
        "A record does not hold the digests of the pictures beside it: that a picture belongs to it follows "
        "from where it lay when this report was made. The table was compared with the record, number by "
        "number.",
    )
    return Section(title="Digests and program", blocks=(Facts(rows=tuple(rows)), Lines(texts=told)))


def _kind(record: AnyRecord) -> str:
    kind = getattr(record, "kind", "")
    return f"{kind}, " if kind else ""


def files_section(attachments: Sequence[Attachment]) -> Section:
    """What lies inside the report."""
    rows = tuple((one.name, f"{len(one.content)}", one.words) for one in attachments)
    table = Table(
        heads=("file", "bytes", "what it is"), rows=rows, widths=(0.3, 0.14, 0.56), right=frozenset({1})
    )
    told = (
        "These files are inside this report, byte for byte; programs read them, and records can be repeated."
    )
    return Section(title="Files inside this report", blocks=(table, Lines(texts=(told,))))


def cautions_section(records: Iterable[AnyRecord]) -> Section:
    """What the result is not, and what can hurt."""
    own = dict.fromkeys(caution for record in records for caution in record.cautions)
    blocks: tuple[Block, ...] = (Lines(texts=(*own, *_CAUTIONS)),)
    return Section(title="Cautions", blocks=blocks)

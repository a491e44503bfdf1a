"""Sections on several records: the part as a whole with its worst verdict, and a joint before and after."""

from __future__ import annotations

from collections.abc import Sequence

from fitup.evidence.comparison_building import Compared
from fitup.evidence.comparison_record import FateEntry
from fitup.evidence.judged_record import photos_of
from fitup.evidence.report.chart import profile_chart
from fitup.evidence.report.model import Badge, Block, Cell, Facts, Lines, Section, Table, Verdict
from fitup.evidence.report.numbers import gap, length
from fitup.evidence.report.source import Source
from fitup.evidence.words import COVERAGE_FACTOR, from_to

__all__ = ["compared_section", "overview_section"]

_CARE = (
    "Informs and releases nothing for welding: the welding procedure and licensed or certified practice "
    "decide."
)
_MOST_TOLD = 2
_WORST_FIRST = ("re-fixture", "retake", "gauge", "within")


def overview_section(sources: Sequence[Source], compared: Sequence[Compared | None]) -> Section:
    """All joints with the worst verdict; of a joint with several records the last one counts."""
    followed = [_follows(one) for one in (*compared[1:], None)]
    last = [source for source, over in zip(sources, followed, strict=True) if not over]
    words = [_word(source) for source in last]
    worst = min(words, key=_WORST_FIRST.index)
    counts = [(words.count(word), word) for word in _WORST_FIRST]
    said = ", ".join(f"{count} {word}" for count, word in counts if count)
    advice = _advice([source for source in last if _word(source) == worst])
    verdict = Verdict(
        word=worst,
        sentence=f"{said}; the worst counts for the whole",
        advice="nothing to correct" if worst == "within" else advice,
        figures=(
            ("joints", str(len(last))),
            ("records", str(len(sources))),
            ("verdicts", said),
            ("widest gap", _widest(last)),
        ),
        careful=tuple(f"{_name(source)}: {text}" for source in sources for text in source.careful),
        care=_CARE,
    )
    rows = tuple(_row(source, over) for source, over in zip(sources, followed, strict=True))
    table = Table(
        heads=("joint", "verdict", "largest gap, k = 2", "limit", "spots", "filed, by", "record's SHA-256"),
        rows=rows,
        widths=(0.17, 0.16, 0.17, 0.1, 0.07, 0.18, 0.15),
        right=frozenset({3, 4}),
    )
    told = "SHA-256 is shortened here; each joint's own sheet has it whole, with everything else."
    return Section(title="", blocks=(verdict, table, Lines(texts=(told,))))


def _advice(worst: Sequence[Source]) -> str:
    """What to do about the worst joints, few of them: the table has all."""
    told = "; ".join(f"{_name(one)}: {one.settlements.verdict.advice}" for one in worst[:_MOST_TOLD])
    more = len(worst) - _MOST_TOLD
    return f"{told}; and {more} more below" if more > 0 else told


def _follows(compared: Compared | None) -> bool:
    """Whether a record takes the place of that before; one of a part of the joint does not."""
    if compared is None:
        return False
    return compared.before.judged.joint.part_only or not compared.after.judged.joint.part_only


def _word(source: Source) -> str:
    return source.settlements.verdict.word.value


def _name(source: Source) -> str:
    return source.record.filing.joint or photos_of(source.record)[0].name


def _widest(sources: Sequence[Source]) -> str:
    seen = [
        (verdict.largest_gap_mm, verdict.u_largest_gap_mm, _name(source))
        for source in sources
        if (verdict := source.record.verdict).largest_gap_mm is not None
    ]
    if not seen:
        return "no gap was seen"
    size, u, name = max(seen, key=lambda one: one[0] or 0.0)
    return f"{gap(size, u)}, {name}"


def _row(source: Source, followed: bool) -> tuple[Cell, ...]:
    record = source.record
    verdict = record.verdict
    settled = f", {len(source.settlements.records)} settled" if source.settlements.records else ""
    name = f"{_name(source)} (before)" if followed else _name(source)
    who = f", {record.filing.who}" if record.filing.who else ""
    return (
        name + settled,
        Badge(kind="verdict", word=_word(source)),
        gap(verdict.largest_gap_mm, verdict.u_largest_gap_mm),
        length(record.limit.limit_mm),
        str(len(verdict.spots)),
        f"{record.filing.filed_at_utc:%Y-%m-%d %H:%M} UTC{who}",
        source.judged.sha256[:12],
    )


def compared_section(compared: Compared | None, apart: str) -> Section:
    """What became of the joint since the record before; nothing where there is none."""
    title = "Before and after"
    if compared is None:
        return Section(
            title=title,
            blocks=(Lines(texts=(f"Not compared. fitup compare says: {apart}",)),) if apart else (),
        )
    record, before = compared.record, compared.before.judged.joint
    which = f"{', '.join(record.before.photos)}, filed {record.before.filing.filed_at_utc:%Y-%m-%d %H:%M} UTC"
    facts = Facts(
        rows=(
            ("before", f"{record.before.word}: {which}, SHA-256 {record.before.record.sha256}"),
            ("after", f"{record.after.word}, this record"),
            ("result", record.sentence),
            ("places", _places(record.shift_mm)),
        )
    )
    chart = profile_chart(
        compared.after.judged.joint,
        "Gap now, and before (fine dots); places from the datum mark as it lies now.",
        earlier=(before.station_mm - record.shift_mm, before.gap_mm),
    )
    blocks: list[Block] = [facts, chart]
    if record.spots:
        blocks.append(
            Table(
                heads=(
                    "spot",
                    "now",
                    "from datum mark before",
                    "fate",
                    "widest gap before, now, change (k = 2)",
                ),
                rows=tuple(_fate(spot) for spot in record.spots),
                widths=(0.17, 0.17, 0.2, 0.14, 0.32),
            )
        )
    blocks.append(Lines(texts=(*record.remarks, record.shared_print, *record.cautions)))
    return Section(title=title, blocks=tuple(blocks))


def _places(shift_mm: float) -> str:
    if shift_mm == 0.0:
        return "both count from their own datum mark, as if it lay at the same place"
    return f"{length(shift_mm)} is added to places now, to be those before"


def _fate(spot: FateEntry) -> tuple[Cell, ...]:
    change = "not seen in both"
    if spot.change_mm is not None and spot.u_change_mm is not None:
        spread = COVERAGE_FACTOR * spot.u_change_mm
        sizes = f"{length(spot.before_mm)}, {length(spot.after_mm)}"
        change = f"{sizes}, {spot.change_mm:+.2f} ± {spread:.2f} mm"
    was = Badge(kind="state", word=spot.state)
    return was, Badge(kind="state", word=spot.now), from_to(spot.start_mm, spot.end_mm), spot.fate, change

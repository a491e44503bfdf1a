"""Sections on the result: verdict, picture, profile, spots, and what a feeler gauge settled."""

from __future__ import annotations

from fitup.evidence.judged_record import AnyRecord
from fitup.evidence.record import InspectionRecord, SpotEntry
from fitup.evidence.report.chart import profile_chart
from fitup.evidence.report.model import Badge, Block, Cell, Lines, Picture, Section, Table, Verdict
from fitup.evidence.report.numbers import gap, length, number, percent, when
from fitup.evidence.report.source import Source
from fitup.evidence.seam_record import SeamRecord, SeamSpotEntry
from fitup.evidence.settlement_record import SettlementRecord
from fitup.evidence.sides_record import SidesRecord
from fitup.evidence.words import from_to

__all__ = [
    "head_section",
    "picture_captions",
    "pictures_section",
    "settled_section",
    "spots_section",
    "step_row",
]

_CARE = (
    "Informs the fitter and releases nothing for welding: the welding procedure and licensed or certified "
    "practice decide. See Cautions."
)


def head_section(source: Source) -> Section:
    """What somebody must know who reads nothing else: verdict, profile, and the picture of one photo."""
    blocks: list[Block] = [_verdict(source), _profile(source)]
    if len(source.overlays) == 1:
        blocks += _pictures(source)
    return Section(title="", blocks=tuple(blocks))


def picture_captions(record: AnyRecord) -> list[str]:
    """What each overlay shows."""
    if isinstance(record, InspectionRecord):
        return [f"Photo {record.photo.name} with the joint marked, and the places that matter magnified"]
    if isinstance(record, SeamRecord):
        return [
            f"Photo {k} of {len(record.photos)}, {one.photo.name}: {from_to(one.start_mm, one.end_mm)}"
            for k, one in enumerate(record.photos, start=1)
        ]
    return [
        f"Photo {one.photo.name}, from {one.camera_side}, {abs(one.view_deg):.0f}° aside"
        for one in record.photos
    ]


def pictures_section(source: Source) -> Section:
    """The overlays of a joint of several photos."""
    blocks = _pictures(source) if len(source.overlays) > 1 else []
    return Section(title="Photos with the joint marked", blocks=tuple(blocks))


def _pictures(source: Source) -> list[Block]:
    return [
        Picture(content=one.shown, width_px=one.width_px, height_px=one.height_px, caption=caption)
        for one, caption in zip(source.overlays, picture_captions(source.record), strict=True)
        if one is not None
    ]


def _verdict(source: Source) -> Verdict:
    record, settled = source.record, source.settlements
    verdict, limit = record.verdict, record.limit
    figures = [
        ("largest gap (k = 2)", _largest(record)),
        ("limit", f"{limit.limit_mm:.2f} mm, {limit.rule} rule"),
        ("seen", f"{percent(verdict.seen_share)} of {_joint_length(record):.0f} mm"),
        ("spots", _spots_in_words(record)),
    ]
    sentence, advice, word = verdict.sentence, verdict.advice, verdict.word
    if settled.records:
        after = settled.verdict
        sentence, advice, word = after.sentence, after.advice, after.word.value
        figures.append(("before settling", f"{verdict.word.upper()} by the photo alone"))
    return Verdict(
        word=word,
        sentence=sentence,
        advice=advice,
        figures=tuple(figures),
        careful=source.careful,
        care=_CARE,
    )


def _largest(record: AnyRecord) -> str:
    verdict = record.verdict
    if verdict.largest_gap_mm is None:
        return "no gap was seen"
    size = gap(verdict.largest_gap_mm, verdict.u_largest_gap_mm)
    return f"{size} at {number(verdict.largest_gap_at_mm, 0, 'mm')}"


def _joint_length(record: AnyRecord) -> float:
    stations = record.profile.stations
    return stations[-1].station_mm - stations[0].station_mm + record.profile.step_mm


def _spots_in_words(record: AnyRecord) -> str:
    spots = record.verdict.spots
    states = ("over", "doubtful", "unseen", "short land")
    counts = [(sum(spot.state == state for spot in spots), state) for state in states]
    return ", ".join(f"{count} {state}" for count, state in counts if count) or "none"


def _profile(source: Source) -> Block:
    """The gap along the joint as the photo shows it."""
    settled = " States are those of the photo alone." if source.settlements.records else ""
    return profile_chart(
        source.judged.joint,
        "Gap along the joint with its 95 % interval (k = 2); numbers are those of the spots." + settled,
    )


def spots_section(source: Source) -> Section:
    """Every spot, by place."""
    record = source.record
    spots = record.verdict.spots
    if not spots:
        return Section(title="Spots", blocks=(Lines(texts=("No place needs a person.",)),))
    seam = isinstance(record, SeamRecord)
    rows = [_spot_row(k, spot, seam) for k, spot in enumerate(spots, start=1)]
    where = ("on the strips",) if seam else ()
    widths = (0.05, 0.16, 0.17, 0.16, 0.13, 0.33) if seam else (0.05, 0.16, 0.18, 0.18, 0.43)
    heads = ("no.", "state", "from datum mark", *where, "largest gap, k = 2", "what to do")
    return Section(title="Spots", blocks=(Table(heads=heads, rows=tuple(rows), widths=widths),))


def _spot_row(number_: int, spot: SpotEntry, seam: bool) -> tuple[Cell, ...]:
    size = gap(spot.largest_gap_mm, spot.u_largest_gap_mm)
    if spot.largest_gap_mm is not None and spot.at_mm is not None:
        size = f"{size} at {spot.at_mm:.0f} mm"
    if spot.land_mm is not None:
        size = f"{spot.side} land {length(max(spot.land_mm, 0.0), 1)}"
    where: tuple[str, ...] = ()
    if seam and isinstance(spot, SeamSpotEntry):
        start, end = spot.start_on_strip_mm, spot.end_on_strip_mm
        where = (f"no. {spot.start_strip}: {start:.0f} mm to no. {spot.end_strip}: {end:.0f} mm",)
    place = from_to(spot.start_mm, spot.end_mm)
    return (str(number_), Badge(kind="state", word=spot.state), place, *where, size, spot.advice)


def settled_section(source: Source) -> Section:
    """Readings with a feeler gauge, who took them, and what is left; nothing where there are none."""
    settled = source.settlements
    if not settled.records:
        return Section(title="Settled with a feeler gauge", blocks=())
    last = settled.records[-1]
    withdrawn = {one.withdraws: one.number for one in settled.records if one.withdraws is not None}
    readings = Table(
        heads=("no.", "from datum mark", "blades", "what came of it", "who and when", "remarks"),
        rows=tuple(_reading_row(one, withdrawn.get(one.number)) for one in settled.records),
        widths=(0.05, 0.16, 0.17, 0.15, 0.22, 0.25),
    )
    told = [f"Settlement {one.settlement}: {one.text}" for one in last.verdict.remarks]
    blocks: list[Block] = [readings, Lines(texts=(*told, *last.cautions))]
    if settled.verdict.spots:
        left = Table(
            heads=("left", "from datum mark", "what to do"),
            rows=tuple(
                (Badge(kind="state", word=str(spot.state)), from_to(spot.start_mm, spot.end_mm), spot.advice)
                for spot in settled.verdict.spots
            ),
            widths=(0.17, 0.2, 0.63),
        )
        blocks.insert(1, left)
    return Section(title="Settled with a feeler gauge", blocks=tuple(blocks))


def _reading_row(one: SettlementRecord, withdrawn_by: int | None) -> tuple[str, ...]:
    reading = one.reading
    if reading is None:
        said = f"settlement {one.withdraws} withdrawn"
        return str(one.number), "", "", said, f"{one.who}, {when(one.filed_at_utc)}", ""
    blades = f"{sum(reading.blades_mm):.2f} ± {2 * reading.u_blades_mm:.2f} mm ({reading.as_written})"
    said = ("goes in" if reading.goes_in else "does not go in") + (", flat" if reading.flat else "")
    more = [
        f"set {reading.blade_set}" if reading.blade_set else "",
        reading.remark,
        f"withdrawn by settlement {withdrawn_by}" if withdrawn_by else "",
        f"u: {reading.u_source}",
    ]
    return (
        str(one.number),
        from_to(reading.start_mm, reading.end_mm),
        blades,
        said,
        f"{one.who}, read {when(reading.read_at_utc)}, filed {when(one.filed_at_utc)}",
        "; ".join(text for text in more if text),
    )


def step_row(record: AnyRecord) -> tuple[str, str] | None:
    """The step between the plates of a joint seen from both sides."""
    if not isinstance(record, SidesRecord):
        return None
    step = record.step
    if step is None:
        return "step (hi-lo)", f"not measurable in these photos: {record.not_measurable}"
    usual = f"{step.median_mm:+.2f} ± {2 * step.u_median_mm:.2f} mm"
    most = f"{step.largest_mm:+.2f} ± {2 * step.u_largest_mm:.2f} mm at {step.largest_at_mm:.0f} mm"
    return "step (hi-lo)", f"{usual} (median), {most} (largest); + where the plate beyond the joint is higher"

"""Sections on how it was measured: uncertainty, print, lens, camera, quality, shape of the joint."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from fitup.evidence.judged_record import AnyRecord, photos_of
from fitup.evidence.kind_words import kind_in_words, lands_in_words, step_in_words
from fitup.evidence.lens_entry import LensEntry
from fitup.evidence.quality_entry import FactorEntry, QualityEntry
from fitup.evidence.record import (
    BudgetLine,
    CameraEntry,
    CameraResponseEntry,
    InspectionRecord,
    JointEntry,
    PhotoEntry,
    PrintCheckEntry,
    ScaleEntry,
)
from fitup.evidence.report.model import Block, Facts, Lines, Section, Table
from fitup.evidence.report.numbers import NOT_KNOWN, known, length, number, percent, spread
from fitup.evidence.report.result_sections import step_row
from fitup.evidence.seam_record import SeamPhotoEntry, SeamRecord
from fitup.evidence.sides_record import SidesPhotoEntry

__all__ = [
    "budget_section",
    "notes_section",
    "photo_sections",
    "quality_section",
    "scale_section",
    "shape_section",
]


def budget_section(record: AnyRecord) -> Section:
    """Where the uncertainty comes from, largest first."""
    lines = record.profile.budget
    if not any(line.u_mean_mm for line in lines):
        told = ("No gap was seen: there is no uncertainty to tell.",)
        return Section(title="Uncertainty", blocks=(Lines(texts=told),))
    total = sum((line.u_mean_mm or 0.0) ** 2 for line in lines)
    rows = [_budget_row(line, total) for line in lines]
    at_largest = [line.u_at_largest_gap_mm for line in lines]
    combined = math.sqrt(sum((u or 0.0) ** 2 for u in at_largest))
    rows.append(
        ("combined", "", f"{math.sqrt(total):.4f}", f"{combined:.4f}", "100 %", "root of the sum of squares")
    )
    stated = record.verdict.u_largest_gap_mm
    told = (
        "Standard uncertainties (k = 1), JCGM 100; u mean is the root mean square over the stations seen. "
        f"The largest gap is stated with u = {number(stated, 4, 'mm')}, that is "
        f"± {number(2 * (stated or 0.0), 3)} mm for k = 2, some 95 %.",
    )
    table = Table(
        heads=("influence", "acts", "u mean, mm", "at largest, mm", "share", "what makes it smaller"),
        rows=tuple(rows),
        widths=(0.19, 0.13, 0.12, 0.14, 0.08, 0.34),
        right=frozenset({2, 3, 4}),
    )
    return Section(title="Uncertainty", blocks=(table, Lines(texts=told)))


def _budget_row(line: BudgetLine, total: float) -> tuple[str, ...]:
    share = 100 * (line.u_mean_mm or 0.0) ** 2 / total
    return (
        line.name,
        "alike all along" if line.common else "at random",
        number(line.u_mean_mm, 4),
        number(line.u_at_largest_gap_mm, 4),
        f"{share:.0f} %",
        line.remedy,
    )


def scale_section(record: AnyRecord) -> Section:
    """The print's record, and for several photos where the strips lie."""
    if isinstance(record, InspectionRecord):
        check, sentence = record.scale.print_check, record.scale.print_check_sentence
    else:
        check, sentence = record.print_check, record.print_check_sentence
    blocks: list[Block] = [Facts(rows=(("print", sentence), *_print(check)))]
    if isinstance(record, SeamRecord):
        blocks += _chain(record)
    return Section(title="Scale's print", blocks=tuple(blocks))


def _print(check: PrintCheckEntry | None) -> Iterator[tuple[str, str]]:
    if check is None:
        return
    yield "record", f"no. {check.number} of {check.date}, print {known(check.strip)}"
    yield "instrument", f"{check.instrument}, u = {length(check.u_instrument_mm, 3)}"
    yield "along", _reading(check.along_mm, check.nominal_along_mm, check.along_factor)
    yield "across", _reading(check.across_mm, check.nominal_across_mm, check.across_factor)
    yield "relative u", f"{100 * check.u_relative:.3f} %"
    if check.thickness_mm is not None:
        yield "thickness", f"{length(check.thickness_mm)}, u = {length(check.u_thickness_mm, 3)}"
    fix = check.correction
    if fix is not None:
        yield (
            "correction",
            f"gap = (reading {-fix.intercept_mm:+.4f} mm) / {fix.slope:.5f}, references {fix.low_mm:g} to "
            f"{fix.high_mm:g} mm; accepted by {fix.accepted_by} on {fix.accepted_on}; readings SHA-256 "
            f"{fix.readings_sha256}",
        )


def _reading(read_mm: float, drawn_mm: float, factor: float) -> str:
    return f"{read_mm:.2f} mm for {drawn_mm:.2f} mm as drawn: factor {factor:.5f}"


def _chain(record: SeamRecord) -> Iterator[Block]:
    strips = tuple(
        (
            str(one.strip_number),
            spread(one.place_mm, one.u_place_mm, 2, ""),
            "yes" if one.touches_next else "no",
        )
        for one in record.chain.strips
    )
    heads = ("strip", "0 lies at, mm (k = 2)", "taken to touch the next")
    yield Table(heads=heads, rows=strips, widths=(0.2, 0.4, 0.4))
    names = [one.photo.name for one in record.photos]
    if record.overlaps:
        overlaps = tuple(
            (
                f"{names[one.first]} / {names[one.second]}",
                f"{one.start_mm:.0f}–{one.end_mm:.0f} mm",
                spread(one.mean_difference_mm, one.u_mean_difference_mm, 3, "mm"),
                f"{one.chi_square:.1f} / {one.degrees_of_freedom}",
            )
            for one in record.overlaps
        )
        heads_of = ("photos that overlap", "where", "mean difference (k = 2)", "chi² / degrees")
        yield Table(heads=heads_of, rows=overlaps, widths=(0.4, 0.18, 0.24, 0.18))
    told = [f"{one.name} was not used: {one.error}" for one in record.faults]
    told += [f"{one.advice} ({one.start_mm:.0f}–{one.end_mm:.0f} mm: no photo)" for one in record.holes]
    if told:
        yield Lines(texts=tuple(told))


def photo_sections(record: AnyRecord) -> list[Section]:
    """Every photo: file, camera, scale in it, lens, tone curve."""
    if isinstance(record, InspectionRecord):
        return [
            _photo("Photo, scale and lens", record.photo, record.scale, record.joint, record.camera_response)
        ]
    photos: Sequence[SeamPhotoEntry | SidesPhotoEntry] = record.photos
    return [
        _photo(f"Photo {number_}, its scale and lens", one.photo, one.scale, one.joint, one.camera_response)
        for number_, one in enumerate(photos, start=1)
    ]


def _photo(
    title: str, photo: PhotoEntry, scale: ScaleEntry, joint: JointEntry, response: CameraResponseEntry
) -> Section:
    size = f"{photo.format}, {photo.width_px} × {photo.height_px} px, {photo.byte_count} bytes"
    rows = [
        ("photo", photo.name),
        ("file", size),
        ("SHA-256", photo.sha256),
        ("camera", _camera(photo.camera)),
        *_scale(scale),
        ("lens", _lens(scale.lens)),
        ("joint line", f"given by the {joint.given_by}" + _evidence(joint)),
        ("tone curve", _response(response)),
    ]
    if response.note:
        rows.append(("note", response.note))
    return Section(title=title, blocks=(Facts(rows=tuple(rows)),))


def _camera(camera: CameraEntry) -> str:
    said = [
        camera.make,
        camera.model,
        camera.lens_model,
        camera.software and f"software {camera.software}",
        camera.focal_length_mm and f"{camera.focal_length_mm:g} mm",
        camera.focal_length_35mm and f"as {camera.focal_length_35mm:g} mm on 35 mm film",
        camera.digital_zoom_ratio and f"digital zoom {camera.digital_zoom_ratio:g}",
        camera.taken_at and f"taken {camera.taken_at} by the camera's clock",
    ]
    return ", ".join(text for text in said if text) or "nothing written by the camera"


def _scale(scale: ScaleEntry) -> list[tuple[str, str]]:
    target = scale.target
    parts = ", ".join(f"{one.name} {100 * one.u_relative:.3f} %" for one in scale.u_relative_parts)
    focal = f"{scale.focal_px:.0f} px ({scale.focal_source})"
    if scale.u_focal_relative is not None:
        focal += f", u = {100 * scale.u_focal_relative:.1f} %"
    return [
        (
            "target",
            f"{target.form} no. {target.strip_number}, {target.columns} × {target.rows} squares of "
            f"{target.pitch_mm:g} mm, {length(scale.target_thickness_mm)} above the plate",
        ),
        ("found", f"{scale.marker_count} markers, {len(scale.saddles)} corners"),
        ("residual", f"{scale.residual_rms_px:.3f} px rms, {scale.residual_mm:.4f} mm"),
        ("sampling", f"{scale.sampling_at_joint_px_per_mm:.1f} px/mm at the joint"),
        ("view", f"from {scale.distance_mm:.0f} mm, camera tilted {scale.tilt_deg:.1f}°"),
        ("map", f"{scale.map_model}, focal length {focal}"),
        ("u of the scale", parts or NOT_KNOWN),
    ]


def _lens(lens: LensEntry | None) -> str:
    if lens is None:
        return "no lens profile: the lens counts as any phone's that fits the corners"
    size = f"{lens.size_px[0]} × {lens.size_px[1]} px"
    coefficients = ", ".join(f"{value:.5g}" for value in lens.coefficients)
    return (
        f"{lens.sentence} {known(lens.make)} {known(lens.model)}, {lens.kind}, {size}, focal length "
        f"{lens.focal_px:.1f} px, centre {lens.centre_px[0]:.1f}, {lens.centre_px[1]:.1f} px, coefficients "
        f"{coefficients}, residual {lens.rms_px:.3f} px, {lens.photo_count} photos; SHA-256 {lens.sha256}"
    )


def _evidence(joint: JointEntry) -> str:
    if joint.evidence is None:
        return ""
    rival = "" if joint.rival is None else f", next best line {percent(joint.rival)}"
    return f", evidence {percent(joint.evidence)}{rival}"


def _response(response: CameraResponseEntry) -> str:
    if not response.modelled:
        return f"not modelled; adds u = {response.u_gap_px:.3f} px"
    return (
        f"sRGB, exponent {response.exponent:.3f}, contrast {response.contrast:.2f}, sharpening "
        f"{response.sharpening_amount:.2f} over {response.sharpening_radius_px:.1f} px, blur "
        f"{response.blur_px:.2f} px; adds u = {response.u_gap_px:.3f} px"
    )


def quality_section(record: AnyRecord) -> Section:
    """How good the photo is for this joint; nothing for records that do not say."""
    quality = record.quality if isinstance(record, InspectionRecord) else None
    if quality is None:
        return Section(title="Photo quality", blocks=())
    table = Table(
        heads=("factor", "for this limit", "measured", "suffices", "what would help"),
        rows=tuple(_factor_row(one) for one in quality.factors),
        widths=(0.15, 0.14, 0.17, 0.17, 0.37),
    )
    return Section(title="Photo quality", blocks=(table, Lines(texts=tuple(_advice(quality)))))


def _factor_row(one: FactorEntry) -> tuple[str, ...]:
    needed = "" if one.needed is None else number(one.needed, 1, one.unit)
    return one.name, one.state, number(one.value, 1, one.unit), needed, one.remedy


def _advice(quality: QualityEntry) -> Iterator[str]:
    decisive = quality.decisive
    if decisive is not None:
        allowed = decisive.u_allowed_mm
        yield (
            f"Decisive place {decisive.station_mm:.1f} mm: gap {decisive.gap_mm:.3f} mm, "
            f"u = {decisive.u_gap_mm:.4f} mm"
            + ("." if allowed is None else f"; decided with u up to {allowed:.4f} mm.")
        )
    for one in quality.next_photo:
        yield f"Next photo: {one}."
    for advice in quality.advice:
        yield f"Would help: {advice.remedy} (u {advice.u_after_mm:.4f} mm at the decisive place)."


def shape_section(record: AnyRecord) -> Section:
    """How the plates lie to each other, where that was measured."""
    shape = record.shape if isinstance(record, InspectionRecord) else None
    rows: list[tuple[str, str]] = []
    texts: tuple[str, ...] = ()
    if shape is not None:
        second = shape.second_target
        rows = [
            ("joint", kind_in_words(shape)),
            ("second target", "none" if second is None else f"{second.form} no. {second.strip_number}"),
            ("step (hi-lo)", step_in_words(shape)),
            ("lands", lands_in_words(shape)),
        ]
        texts = shape.notes
    step = step_row(record)
    rows = [(label, text) for label, text in [*rows, *([step] if step else [])] if text]
    blocks: list[Block] = [Facts(rows=tuple(rows))] if rows else []
    if texts:
        blocks.append(Lines(texts=texts))
    return Section(title="Shape of the joint", blocks=tuple(blocks))


def notes_section(record: AnyRecord) -> Section:
    """What the program noted while it measured."""
    notes = [note for photo in photos_of(record) for note in photo.notes]
    notes += record.profile.notes
    if not isinstance(record, InspectionRecord):
        notes += record.notes
    return Section(title="Notes", blocks=(Lines(texts=tuple(dict.fromkeys(notes))),) if notes else ())

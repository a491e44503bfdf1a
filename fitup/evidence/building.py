"""From one inspection to its record: every number copied in full, NaN turned into null."""

from __future__ import annotations

import math
import platform
from collections.abc import Iterable
from datetime import UTC
from typing import TYPE_CHECKING, Any, cast

import cv2
import numpy as np
from numpy.typing import NDArray

import fitup
from fitup.evidence import record as entry
from fitup.evidence.information_entry import information_entry
from fitup.evidence.kind_words import gap_between
from fitup.evidence.lens_entry import lens_entry
from fitup.evidence.quality_entry import quality_entry
from fitup.evidence.request_building import limit_entry, request_entry
from fitup.evidence.shape_building import shape_entry
from fitup.evidence.subject import Filing, JointListUsed, Settings, Subject
from fitup.evidence.writing import printable_name
from fitup.scale import DEFAULT_PRINT_U_RELATIVE, GapCorrection

if TYPE_CHECKING:
    from fitup.edges import CameraResponse
    from fitup.photo import Photo
    from fitup.profile import GapProfile
    from fitup.scale import PrintRecord, ScaleMap
    from fitup.verdict import JointVerdict, Spot

__all__ = [
    "build_record",
    "cautions_of",
    "filing_entry",
    "joint_entry",
    "limit_entry",
    "photo_entry",
    "profile_entry",
    "program_entry",
    "request_entry",
    "response_entry",
    "scale_entry",
    "verdict_entry",
]

_CAUTION = (
    "This result informs the fitter; it releases nothing for welding and replaces no inspection that a "
    "procedure asks for."
)


def build_record(subject: Subject, filing: Filing) -> entry.InspectionRecord:
    """Everything that was measured, asked and decided, as one frozen record."""
    return entry.InspectionRecord(
        schema_version=3,
        program=program_entry(),
        filing=filing_entry(filing),
        photo=photo_entry(subject.photo, subject.scale.sighting.choice.notes),
        request=request_entry(subject.settings, subject.verdict),
        limit=limit_entry(subject.verdict.limit),
        scale=scale_entry(subject.scale, subject.profile),
        joint=joint_entry(subject),
        shape=shape_entry(subject),
        camera_response=response_entry(subject.response),
        profile=profile_entry(subject.profile, subject.verdict),
        quality=quality_entry(subject.quality),
        verdict=verdict_entry(subject.verdict),
        cautions=cautions_of(subject.settings),
    )


def cautions_of(settings: Settings) -> tuple[str, ...]:
    """What the result is not, and what of the joint it does not see."""
    between = gap_between(str(settings.joint_kind))
    return _CAUTION, f"The gap is measured {between}; what lies below or behind is not seen."


def program_entry() -> entry.ProgramEntry:
    """What measures here."""
    return entry.ProgramEntry(
        name="fitup",
        version=fitup.__version__,
        python=platform.python_version(),
        numpy=np.__version__,
        opencv=cv2.__version__,
    )


def filing_entry(filing: Filing) -> entry.FilingEntry:
    """Who filed it, for what and when."""
    return entry.FilingEntry(
        who=printable_name(filing.who),
        job=printable_name(filing.job),
        part=printable_name(filing.part),
        joint=printable_name(filing.joint),
        filed_at_utc=filing.clock().astimezone(UTC).replace(microsecond=0),
        joint_list=None if filing.joint_list is None else _joint_list(filing.joint_list),
    )


def _joint_list(used: JointListUsed) -> entry.JointListEntry:
    return entry.JointListEntry(
        file_name=printable_name(used.file_name), sha256=used.sha256, instead=used.instead
    )


def photo_entry(photo: Photo, lens_notes: tuple[str, ...] = ()) -> entry.PhotoEntry:
    """The photo's file and camera, with what its camera means for the choice of a lens profile."""
    names = entry.CameraEntry.model_fields
    camera = {name: _text_or_number(getattr(photo.camera, name)) for name in names}
    return entry.PhotoEntry(
        name=printable_name(photo.name),
        sha256=photo.sha256,
        byte_count=photo.byte_count,
        format=photo.format,
        width_px=photo.width_px,
        height_px=photo.height_px,
        camera=entry.CameraEntry(**camera),
        notes=tuple(printable_name(note) for note in (*photo.notes, *lens_notes)),
    )


def scale_entry(scale: ScaleMap, profile: GapProfile) -> entry.ScaleEntry:
    """The scale, looked at in the middle of the joint."""
    middle_mm = scale.to_mm(profile.centre_px[len(profile.centre_px) // 2])
    camera_mm = scale.camera_position_mm
    return entry.ScaleEntry(
        target=_target(scale),
        target_thickness_mm=scale.thickness_mm,
        print_check=_print_check(scale.print_record),
        print_check_sentence=_print_sentence(scale.print_record),
        marker_count=scale.sighting.marker_count,
        saddles=_saddles(scale),
        residual_rms_px=float(scale.residual_rms_px),
        residual_mm=float(scale.residual_mm),
        sampling_at_joint_px_per_mm=float(scale.px_per_mm(middle_mm)),
        tilt_deg=float(scale.tilt_deg),
        distance_mm=float(np.linalg.norm(np.asarray(camera_mm) - [*middle_mm, 0.0])),
        camera_position_mm=_triple(camera_mm),
        focal_px=float(scale.focal_px),
        u_focal_relative=_number(scale.u_focal_relative),
        focal_source=scale.focal_source,
        map_model=scale.model,
        print_blur_px=_number(scale.print_blur_px),
        homography_px_from_mm=tuple(_triple(row) for row in scale.homography),
        u_relative_parts=tuple(
            entry.NamedShare(name=name, u_relative=float(np.ravel(u)[0]))
            for name, u in scale.relative_u(middle_mm).items()
        ),
        lens=lens_entry(scale),
    )


def _target(scale: ScaleMap) -> entry.TargetEntry:
    layout = scale.sighting.layout
    return entry.TargetEntry(
        form=layout.name,
        strip_number=layout.strip_number,
        columns=layout.columns,
        rows=layout.rows,
        pitch_mm=layout.pitch_mm,
        marker_mm=layout.marker_mm,
    )


def _print_check(check: PrintRecord | None) -> entry.PrintCheckEntry | None:
    if check is None:
        return None
    names = entry.PrintCheckEntry.model_fields
    values = {name: _text_or_number(getattr(check, name)) for name in names if name != "correction"}
    return entry.PrintCheckEntry(**values, correction=_correction(check.correction))


def _correction(accepted: GapCorrection | None) -> entry.CorrectionEntry | None:
    if accepted is None:
        return None
    names = entry.CorrectionEntry.model_fields
    return entry.CorrectionEntry(**{name: _text_or_number(getattr(accepted, name)) for name in names})


def _print_sentence(check: PrintRecord | None) -> str:
    if check is None:
        return (
            f"The print was not checked: its scale counts with a standard uncertainty of "
            f"{100 * DEFAULT_PRINT_U_RELATIVE:g} %."
        )
    checked = f"The print was checked: record {check.number} of {check.date}, {check.instrument}."
    return (
        checked
        if check.correction is None
        else f"{checked} It carries a correction of the gap (see the notes)."
    )


def _saddles(scale: ScaleMap) -> tuple[entry.SaddleEntry, ...]:
    seen = scale.sighting
    rows = zip(seen.saddle_ids, seen.saddles_mm, seen.saddles_px, seen.residual_px, strict=True)
    return tuple(
        entry.SaddleEntry(
            saddle_id=int(number),
            x_mm=float(mm[0]),
            y_mm=float(mm[1]),
            u_px=float(px[0]),
            v_px=float(px[1]),
            residual_px=float(residual),
        )
        for number, mm, px, residual in rows
    )


def joint_entry(subject: Subject) -> entry.JointEntry:
    """Where the joint runs."""
    line = subject.line
    return entry.JointEntry(
        given_by="person" if line.given_by_person else "program",
        points_px=_points(subject.scale.to_px(line.xy_mm)),
        evidence=_number(line.evidence),
        rival=_number(line.rival),
    )


def response_entry(response: CameraResponse) -> entry.CameraResponseEntry:
    """The camera's tone curve and sharpening."""
    return entry.CameraResponseEntry(
        modelled=bool(response.modelled),
        contrast=float(response.contrast),
        exponent=float(response.exponent),
        sharpening_amount=float(response.amount),
        sharpening_radius_px=float(response.radius_px),
        blur_px=float(response.blur_px),
        residual=_number(response.residual),
        u_gap_px=float(response.u_gap_px),
        note=response.note,
    )


def profile_entry(profile: GapProfile, verdict: JointVerdict) -> entry.ProfileEntry:
    """Stations, budget and notes."""
    return entry.ProfileEntry(
        step_mm=float(profile.step_mm),
        stations=tuple(_station(profile, verdict, index) for index in range(len(profile.station_mm))),
        budget=_budget(profile),
        notes=tuple(profile.notes),
    )


def _station(profile: GapProfile, verdict: JointVerdict, index: int) -> entry.StationEntry:
    return entry.StationEntry(
        station_mm=float(profile.station_mm[index]),
        gap_mm=_number(profile.gap_mm[index]),
        u_gap_mm=_number(profile.u_gap_mm[index]),
        near_mm=_number(profile.near_mm[index]),
        far_mm=_number(profile.far_mm[index]),
        near_px=_point(profile.near_px[index]),
        far_px=_point(profile.far_px[index]),
        state=cast(entry.StateWord, str(verdict.states[index])),
        unseen_reason=profile.unseen_reason[index],
    )


def _budget(profile: GapProfile) -> tuple[entry.BudgetLine, ...]:
    seen = profile.seen
    at_largest = int(np.nanargmax(profile.gap_mm)) if seen.any() else None
    lines = [
        entry.BudgetLine(
            name=influence.name,
            common=influence.common,
            u_mean_mm=_rms(influence.u_mm[seen]),
            u_at_largest_gap_mm=None if at_largest is None else _number(influence.u_mm[at_largest]),
            remedy=influence.remedy,
        )
        for influence in profile.budget
    ]
    return tuple(sorted(lines, key=lambda line: (-(line.u_mean_mm or 0.0), line.name)))


def _rms(values: NDArray[np.float64]) -> float | None:
    values = values[np.isfinite(values)]
    return float(np.sqrt(np.mean(values**2))) if values.size else None


def verdict_entry(verdict: JointVerdict) -> entry.VerdictEntry:
    """The verdict and its spots."""
    return entry.VerdictEntry(
        word=cast(entry.VerdictWordText, str(verdict.word)),
        sentence=verdict.sentence,
        advice=verdict.advice,
        largest_gap_mm=_number(verdict.largest_gap_mm),
        u_largest_gap_mm=_number(verdict.largest_gap_u_mm),
        largest_gap_at_mm=_number(verdict.largest_gap_at_mm),
        seen_share=float(verdict.seen_share),
        spots=tuple(_spot(spot) for spot in verdict.spots),
        information=information_entry(verdict.information),
    )


def _spot(spot: Spot) -> entry.SpotEntry:
    return entry.SpotEntry(
        state=cast(entry.SpotWord, str(spot.state)),
        start_mm=float(spot.start_mm),
        end_mm=float(spot.end_mm),
        largest_gap_mm=_number(spot.largest_gap_mm),
        u_largest_gap_mm=_number(spot.u_mm),
        at_mm=_number(spot.at_mm),
        advice=spot.advice,
        side=spot.side,
        land_mm=_number(spot.land_mm),
    )


def _number(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _point(point: NDArray[np.float64]) -> tuple[float, float] | None:
    return (float(point[0]), float(point[1])) if np.isfinite(point).all() else None


def _points(points: NDArray[np.float64]) -> tuple[tuple[float, float], ...]:
    return tuple((float(u), float(v)) for u, v in points)


def _triple(values: Iterable[float]) -> tuple[float, float, float]:
    first, second, third = (float(value) for value in values)
    return first, second, third


def _text_or_number(value: Any) -> Any:
    return printable_name(value) if isinstance(value, str) else value

"""`fitup record repeat`: measure a photo again from its record alone, and compare."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from fitup.errors import ExitCode, UsageError

if TYPE_CHECKING:
    from fitup.evidence import InspectionRecord
    from fitup.inspection import InspectionSettings

__all__ = ["repeat", "settings_of"]

# What may differ although the same was measured: who filed it when, the file's name, the versions that ran.
_NOT_COMPARED = {"program", "filing", "photo", "cautions"}


def repeat(record_file: str, photo: str) -> int:
    """Measure `photo` with all that the record says was asked, and tell whether the result is the same.

    Exit code 0 when every number is the same to the last bit, else 6.

    Raises
    ------
    UsageError
        When it is another photo than the record's.
    """
    from fitup.cli.inspecting import is_folder
    from fitup.cli.screen import print_line
    from fitup.evidence import Filing, build_record, read_record
    from fitup.inspection import inspect

    path = Path(record_file)
    stored = read_record(path / "record.json" if is_folder(path) else path)
    inspection = inspect(photo, settings_of(stored))
    if inspection.photo.sha256 != stored.photo.sha256:
        raise UsageError(f"{inspection.photo.name} is not the photo of this record: its bytes differ.")
    again = build_record(inspection, Filing())
    differing = [
        name
        for name in type(stored).model_fields
        if name not in _NOT_COMPARED and getattr(stored, name) != getattr(again, name)
    ]
    if not differing:
        print_line("measured again: every number is the same, bit for bit")
        return int(ExitCode.WITHIN)
    parts = ", ".join(differing)
    print_line(f"measured again: {parts} differ; {_versions(stored, again)}; {_gaps(stored, again)}")
    return int(ExitCode.STORAGE)


def settings_of(record: InspectionRecord) -> InspectionSettings:
    """The settings that a record was made with."""
    import numpy as np

    from fitup.inspection import InspectionSettings
    from fitup.scale import PrintRecord
    from fitup.verdict import DecisionRule, Sheet, Wire

    asked, check = record.request, record.scale.print_check
    derived = {"along_factor", "across_factor", "u_relative"}
    return InspectionSettings(
        wire=Wire(**asked.wire.model_dump()),
        sheet=None if asked.sheet is None else Sheet(**asked.sheet.model_dump()),
        joint_kind=asked.joint_kind,
        target_on=asked.target_on,
        included_angle_deg=asked.included_angle_deg,
        overlap_mm=asked.overlap_mm,
        procedure_limit_mm=asked.procedure_limit_mm,
        bridge_factor=asked.bridge_factor,
        decision=DecisionRule(
            conformance_probability=asked.decision.conformance_probability,
            simple_acceptance=asked.decision.simple_acceptance,
        ),
        print_record=None if check is None else PrintRecord(**check.model_dump(exclude=derived)),
        target_thickness_mm=asked.target_thickness_mm,
        arris_radius_mm=asked.arris_radius_mm,
        points_px=None if asked.joint_points_px is None else np.array(asked.joint_points_px),
        from_mm=asked.from_mm,
        to_mm=asked.to_mm,
    )


def _versions(stored: InspectionRecord, again: InspectionRecord) -> str:
    if stored.program == again.program:
        return "the program and its libraries are the same"
    then, now = stored.program.model_dump(), again.program.model_dump()
    changed = [f"{name} {then[name]} then, {now[name]} now" for name in then if then[name] != now[name]]
    return ", ".join(changed)


def _gaps(stored: InspectionRecord, again: InspectionRecord) -> str:
    """The largest change of a gap, where both have the same stations."""
    pairs = zip(stored.profile.stations, again.profile.stations, strict=False)
    changes = [
        abs(then.gap_mm - now.gap_mm)
        for then, now in pairs
        if then.gap_mm is not None and now.gap_mm is not None and then.station_mm == now.station_mm
    ]
    return f"gaps differ by up to {max(changes):.2g} mm" if changes else "no station can be compared"

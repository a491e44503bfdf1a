"""`fitup record repeat`: measure a photo again from its record alone, and compare."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias, cast

from fitup.errors import ExitCode, RetakeError, UsageError

if TYPE_CHECKING:
    from fitup.evidence import InspectionRecord
    from fitup.evidence.seam_record import SeamRecord
    from fitup.evidence.sides_record import SidesRecord
    from fitup.inspection import Inspection, InspectionSettings
    from fitup.scale import LensProfile

    Record: TypeAlias = InspectionRecord | SeamRecord | SidesRecord

__all__ = ["repeat", "settings_of"]

# What may differ although the same was measured: who filed it when, the file's name, the versions that ran.
_NOT_COMPARED = {"program", "filing", "photo", "cautions"}


def repeat(record_file: str, photos: Sequence[str]) -> int:
    """Measure the photos with all that the record says was asked, and tell whether the result is the same.

    Exit code 0 when every number is the same to the last bit, else 6.

    Raises
    ------
    UsageError
        When they are other photos than the record's.
    """
    from fitup.cli.inspecting import is_folder
    from fitup.cli.screen import print_line
    from fitup.evidence import read_record
    from fitup.evidence.seam_saving import read_seam_record
    from fitup.evidence.several import record_kind
    from fitup.evidence.sides_saving import read_sides_record

    path = Path(record_file)
    path = path / "record.json" if is_folder(path) else path
    kind = record_kind(path)
    if kind == "seam":
        seam = read_seam_record(path)
        stored, tries = cast("Record", seam), cast("Iterator[Record]", _seam_again(seam, photos))
    elif kind == "sides":
        sides = read_sides_record(path)
        stored, tries = sides, _sides_again(sides, photos)
    elif len(photos) > 1:
        raise UsageError("this is the record of one photo: give that photo alone.")
    else:
        single = read_record(path)
        stored, tries = single, _photo_again(single, photos[0])
    differing: list[str] = []
    for again in tries:
        differing = _differing(stored, again)
        if not differing:
            print_line("measured again: every number is the same, bit for bit")
            return int(ExitCode.WITHIN)
    parts = ", ".join(differing)
    print_line(f"measured again: {parts} differ; {_versions(stored, again)}; {_gaps(stored, again)}")
    return int(ExitCode.STORAGE)


def _photo_again(stored: InspectionRecord, photo: str) -> Iterator[InspectionRecord]:
    """The joint beside the record's strip, and as the library inspects a photo; the likelier one first."""
    from fitup.evidence import Filing, build_record
    from fitup.inspection import inspect
    from fitup.joints import inspect_joints

    settings = settings_of(stored)

    def beside_its_strip() -> Inspection | None:
        try:
            return inspect_joints(photo, settings, {stored.scale.target.strip_number: ""})[0].inspection
        except RetakeError:
            return None

    whole_photo = partial(inspect, photo, settings)
    with_other = stored.shape is not None and stored.shape.second_target is not None
    ways = (whole_photo, beside_its_strip) if with_other else (beside_its_strip, whole_photo)
    for way in (whole_photo,) if settings.strips else ways:
        inspection = way()
        if inspection is None:
            continue
        if inspection.photo.sha256 != stored.photo.sha256:
            raise UsageError(f"{inspection.photo.name} is not the photo of this record: its bytes differ.")
        yield build_record(inspection, Filing())


def _seam_again(stored: SeamRecord, photos: Sequence[str]) -> Iterator[SeamRecord]:
    from fitup.evidence import Filing
    from fitup.evidence.seam_building import build_seam_record
    from fitup.parallel import usual_workers
    from fitup.seam import inspect_seam

    seam = inspect_seam(
        photos, settings_of(stored), strips=stored.named_strips, workers=usual_workers(len(photos))
    )
    record = build_seam_record(seam, Filing())
    _check_photos(stored, record)
    yield record


def _sides_again(stored: SidesRecord, photos: Sequence[str]) -> Iterator[SidesRecord]:
    from fitup.evidence import Filing
    from fitup.evidence.sides_building import build_sides_record
    from fitup.parallel import usual_workers
    from fitup.sides import inspect_sides

    sides = inspect_sides(photos, settings_of(stored), workers=usual_workers(len(photos)))
    record = build_sides_record(sides, Filing())
    _check_photos(stored, record)
    yield record


def _check_photos(stored: SeamRecord | SidesRecord, again: SeamRecord | SidesRecord) -> None:
    """Both are records of the same photos."""
    then, now = ({one.photo.sha256: one.photo.name for one in of.photos} for of in (stored, again))
    for one, other, word in ((then, now, "is missing"), (now, then, "is no photo of this record")):
        for digest in sorted(set(one) - set(other)):
            raise UsageError(f"{one[digest]} {word}: give the photos of the record, unchanged.")


def _differing(stored: Record, again: Record) -> list[str]:
    """Names of the parts that are not the same."""
    then, now = _numbers(stored), _numbers(_as_known_then(stored, again))
    # Records of older versions do not have the photo's quality.
    kept = [name for name in then if name != "quality" or then[name] is not None]
    return [name for name in kept if then[name] != now.get(name)]


def _as_known_then(stored: Record, again: Record) -> Record:
    """The new record without what the stored one's version did not know of."""
    if stored.request.rules is not None:
        return again
    then, now = stored.limit, again.limit
    same_limit = (then.limit_mm, then.rule) == (now.limit_mm, now.rule)  # its words have changed since
    unknown = {"rules": None, "weld": None, "bridge_factor": stored.request.bridge_factor}
    request = again.request.model_copy(update=unknown)
    limit = then if same_limit else now
    verdict = again.verdict.model_copy(update={"information": None})
    return again.model_copy(update={"request": request, "limit": limit, "verdict": verdict})


def _numbers(record: Record) -> dict[str, object]:
    """All that must be the same; of several photos their digests and what was measured, not their names."""
    from fitup.evidence.seam_record import SeamRecord
    from fitup.evidence.sides_record import SidesRecord

    kept: dict[str, object] = {
        name: getattr(record, name)
        for name in type(record).model_fields
        if name not in _NOT_COMPARED | {"photos", "faults", "notes", "holes", "chain"}
    }
    if isinstance(record, SeamRecord | SidesRecord):
        kept["photos"] = [(one.photo.sha256, one.scale, one.joint) for one in record.photos]
    if isinstance(record, SeamRecord):
        kept["chain"] = record.chain.strips
    return kept


def settings_of(record: Record) -> InspectionSettings:
    """The settings that a record was made with."""
    import numpy as np

    from fitup.evidence import InspectionRecord
    from fitup.evidence.request_building import rules_of, weld_of
    from fitup.inspection import InspectionSettings
    from fitup.scale import PrintRecord
    from fitup.verdict import Sheet, Wire

    asked = record.request
    check = record.scale.print_check if isinstance(record, InspectionRecord) else record.print_check
    derived = {"along_factor", "across_factor", "u_relative"}
    lenses = _lenses_of(record)
    rules = rules_of(asked)
    return InspectionSettings(
        wire=None if asked.wire is None else Wire(**asked.wire.model_dump()),
        sheet=None if asked.sheet is None else Sheet(**asked.sheet.model_dump()),
        other_sheet=None if asked.other_sheet is None else Sheet(**asked.other_sheet.model_dump()),
        rules=rules,
        weld=weld_of(asked),
        joint_kind=asked.joint_kind,
        target_on=asked.target_on,
        included_angle_deg=asked.included_angle_deg,
        overlap_mm=asked.overlap_mm,
        two_targets=asked.two_targets,
        one_sheet=asked.one_sheet,
        procedure_limit_mm=asked.procedure_limit_mm,
        procedure_reference=asked.procedure_reference,
        bridge_factor=None if asked.rules is None else asked.bridge_factor,
        decision=rules.decision,
        print_record=None if check is None else PrintRecord(**check.model_dump(exclude=derived)),
        target_thickness_mm=asked.target_thickness_mm,
        arris_radius_mm=asked.arris_radius_mm,
        lens=next((profile for profile, given in lenses if given), None),
        lens_profiles=tuple(profile for profile, given in lenses if not given),
        points_px=None if asked.joint_points_px is None else np.array(asked.joint_points_px),
        strips=asked.strips,
        joint_start_mm=asked.joint_start_mm,
        joint_length_mm=asked.joint_length_mm,
        from_mm=asked.from_mm,
        to_mm=asked.to_mm,
    )


def _lenses_of(record: Record) -> list[tuple[LensProfile, bool]]:
    """Lens profiles of a record's photos, and whether a person had named them."""
    from fitup.evidence import InspectionRecord
    from fitup.scale.lens_file import lens_from_entries

    scales = [record.scale] if isinstance(record, InspectionRecord) else [one.scale for one in record.photos]
    entries = {scale.lens.sha256: scale.lens for scale in scales if scale.lens is not None}
    beside = {"sha256", "given_by", "used"}
    return [
        (
            lens_from_entries(lens.model_dump(mode="json", exclude=beside), "The record's lens profile"),
            lens.given_by == "person",
        )
        for lens in entries.values()
    ]


def _versions(stored: Record, again: Record) -> str:
    if stored.program == again.program:
        return "the program and its libraries are the same"
    then, now = stored.program.model_dump(), again.program.model_dump()
    changed = [f"{name} {then[name]} then, {now[name]} now" for name in then if then[name] != now[name]]
    return ", ".join(changed)


def _gaps(stored: Record, again: Record) -> str:
    """The largest change of a gap, where both have the same stations."""
    pairs = zip(stored.profile.stations, again.profile.stations, strict=False)
    changes = [
        abs(then.gap_mm - now.gap_mm)
        for then, now in pairs
        if then.gap_mm is not None and now.gap_mm is not None and then.station_mm == now.station_mm
    ]
    return f"gaps differ by up to {max(changes):.2g} mm" if changes else "no station can be compared"

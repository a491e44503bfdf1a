"""Photos measured again from a record alone: same settings, same joint; and what came out otherwise."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial

import numpy as np

from fitup.errors import RetakeError, UsageError
from fitup.evidence import Filing, InspectionRecord, build_record
from fitup.evidence.judged_record import AnyRecord
from fitup.evidence.record import PrintCheckEntry
from fitup.evidence.request_building import rules_of, weld_of
from fitup.evidence.seam_building import build_seam_record
from fitup.evidence.seam_record import SeamRecord
from fitup.evidence.sides_building import build_sides_record
from fitup.evidence.sides_record import SidesRecord
from fitup.inspection import Inspection, InspectionSettings, inspect
from fitup.joints import inspect_joints
from fitup.parallel import usual_workers
from fitup.scale import GapCorrection, LensProfile, PrintRecord
from fitup.scale.lens_file import lens_from_entries
from fitup.seam import inspect_seam
from fitup.sides import inspect_sides
from fitup.verdict import Sheet, Wire

__all__ = ["differing", "measured_again", "settings_of"]

# What may differ although the same was measured: who filed it when, the file's name, the versions that ran.
_NOT_COMPARED = {"program", "filing", "photo", "cautions"}


def measured_again(
    stored: AnyRecord, photos: Sequence[str], workers: int | None = None
) -> Iterator[AnyRecord]:
    """Measure the photos with all that a record says was asked, in every way the record may have been made.

    The likelier way comes first; who has what was looked for need not ask for the next. `workers` is the
    number of threads for several photos, as many as there are cores if not said.

    Raises
    ------
    UsageError
        When they are other photos than the record's.

    Raises as `inspect`, `inspect_seam` and `inspect_sides` where a photo cannot be measured.
    """
    if isinstance(stored, InspectionRecord):
        if len(photos) > 1:
            raise UsageError("this is the record of one photo: give that photo alone.")
        yield from _photo_again(stored, photos[0])
        return
    threads = usual_workers(len(photos)) if workers is None else workers
    if isinstance(stored, SeamRecord):
        yield _seam_again(stored, photos, threads)
    else:
        yield _sides_again(stored, photos, threads)


def differing(stored: AnyRecord, again: AnyRecord) -> list[str]:
    """Names of the parts of two records that are not the same, to the last bit."""
    then, now = _numbers(stored), _numbers(_as_known_then(stored, again))
    # Records of older versions do not have the photo's quality.
    kept = [name for name in then if name != "quality" or then[name] is not None]
    return [name for name in kept if then[name] != now.get(name)]


def settings_of(record: AnyRecord) -> InspectionSettings:
    """The settings that a record was made with."""
    asked = record.request
    check = record.scale.print_check if isinstance(record, InspectionRecord) else record.print_check
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
        print_record=None if check is None else _print_record(check),
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


def _print_record(check: PrintCheckEntry) -> PrintRecord:
    derived = {"along_factor", "across_factor", "u_relative", "correction"}
    accepted = None if check.correction is None else GapCorrection(**check.correction.model_dump())
    return PrintRecord(**check.model_dump(exclude=derived), correction=accepted)


def _lenses_of(record: AnyRecord) -> list[tuple[LensProfile, bool]]:
    """Lens profiles of a record's photos, and whether a person had named them."""
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


def _photo_again(stored: InspectionRecord, photo: str) -> Iterator[InspectionRecord]:
    """The joint beside the record's strip, and as the library inspects a photo; the likelier one first."""
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


def _seam_again(stored: SeamRecord, photos: Sequence[str], workers: int) -> SeamRecord:
    seam = inspect_seam(photos, settings_of(stored), strips=stored.named_strips, workers=workers)
    record = build_seam_record(seam, Filing())
    _check_photos(stored, record)
    return record


def _sides_again(stored: SidesRecord, photos: Sequence[str], workers: int) -> SidesRecord:
    sides = inspect_sides(photos, settings_of(stored), workers=workers)
    record = build_sides_record(sides, Filing())
    _check_photos(stored, record)
    return record


def _check_photos(stored: SeamRecord | SidesRecord, again: SeamRecord | SidesRecord) -> None:
    """Both are records of the same photos."""
    then, now = ({one.photo.sha256: one.photo.name for one in of.photos} for of in (stored, again))
    faults = {one.name: one.error for one in again.faults} if isinstance(again, SeamRecord) else {}
    for one, other, word in ((then, now, "is missing"), (now, then, "is no photo of this record")):
        for digest in sorted(set(one) - set(other)):
            name = one[digest]
            if name in faults:
                raise UsageError(f"{name} was measured then and is not now: {faults[name]}")
            raise UsageError(f"{name} {word}: give the photos of the record, unchanged.")


def _as_known_then(stored: AnyRecord, again: AnyRecord) -> AnyRecord:
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


def _numbers(record: AnyRecord) -> dict[str, object]:
    """All that must be the same; of several photos their digests and what was measured, not their names."""
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

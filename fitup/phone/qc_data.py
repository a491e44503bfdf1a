"""What quality control sees of an entry, and of the lenses and prints that are in use."""

from __future__ import annotations

from typing import Any

from fitup.evidence.archive.entry import MEASURED_KINDS
from fitup.phone.entry_routes import any_entry
from fitup.phone.joint_state import is_void, later_of
from fitup.phone.phone_settings import PhoneSettings
from fitup.phone.shop import Shop
from fitup.scale.lens import LensProfile
from fitup.scale.print_check import PrintRecord

__all__ = ["entry_page", "lenses_page"]


def entry_page(shop: Shop, number: int) -> dict[str, Any]:
    """An entry: where it stands in the chain, what it is about, its files, and what was added since."""
    stored = any_entry(shop, number)
    entry, result = stored.entry, later_of(shop.archive, stored)
    measured = entry.kind in MEASURED_KINDS
    settlements = shop.result(number, len(result.later)) if measured else None
    return {
        "entry": number,
        "kind": entry.kind,
        "digest": stored.digest,
        "previous": entry.previous,
        "added_at": entry.added_at_utc,
        "program": entry.program,
        "about": result.about.model_dump(),
        "original": entry.about.model_dump(),
        "note": entry.note,
        "void": is_void(result.later),
        "outcome": None if entry.outcome is None else entry.outcome.model_dump(),
        "refers_to": [one.number for one in entry.refers_to],
        "record": None if settlements is None else settlements.judged.record,
        "settled": settlements.verdict if settlements is not None and settlements.records else None,
        "files": [
            {
                "role": one.role,
                "name": one.name,
                "sha256": one.sha256,
                "byte_count": one.byte_count,
                "url": f"/api/entries/{number}/files/{place}",
            }
            for place, one in enumerate(entry.files, start=1)
        ],
        "later": [
            {
                "entry": one.entry.number,
                "kind": one.entry.kind,
                "who": _who(one.entry.about.who, one.entry.correction),
                "day": one.entry.about.day,
                "note": one.entry.note,
                "sentence": one.entry.about.sentence,
            }
            for one in result.later
        ],
    }


def lenses_page(settings: PhoneSettings) -> dict[str, Any]:
    """Lens profiles that a photo may be measured with, and print checks that are counted on."""
    lenses: dict[str, LensProfile] = {}
    prints: dict[str, PrintRecord] = {}
    for served in settings.jobs:
        for joint in served.job.joints:
            told = joint.settings
            for one in (*told.lens_profiles, *(() if told.lens is None else (told.lens,))):
                lenses[one.sha256] = one
            if told.print_record is not None:
                prints[told.print_record.number] = told.print_record
    return {
        "lenses": [_lens(one) for one in lenses.values()],
        "prints": [_print(prints[number]) for number in sorted(prints)],
    }


def _who(filed: str, correction: Any) -> str:
    return filed if correction is None else correction.by


def _lens(profile: LensProfile) -> dict[str, Any]:
    width, height = profile.lens.size_px
    return {
        "make": profile.make or "",
        "model": profile.model or "",
        "lens": profile.lens.kind,
        "focal_mm": profile.focal_length_mm,
        "width_px": width,
        "height_px": height,
        "photos": profile.photo_count,
        "day": profile.date,
        "digest": profile.sha256,
    }


def _print(record: PrintRecord) -> dict[str, Any]:
    return {
        "number": record.number,
        "date": record.date,
        "instrument": record.instrument,
        "strip": record.strip,
        "along_factor": record.along_factor,
        "across_factor": record.across_factor,
        "u_relative": record.u_relative,
    }

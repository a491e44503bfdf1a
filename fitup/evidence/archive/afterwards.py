"""What is added to an entry afterwards: the outcome of the weld, and corrections. The entry itself stays."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fitup.errors import UsageError
from fitup.evidence.archive.archive import Archive, Stored
from fitup.evidence.archive.draft import Draft, DraftFile
from fitup.evidence.archive.entry import MEASURED_KINDS, About, Correction, Outcome, Reference

__all__ = ["CORRECTABLE", "corrected", "correction_draft", "filed_as", "outcome_draft"]

CORRECTABLE = ("job", "part", "joint", "serial", "who")


def outcome_draft(
    joint: Stored,
    outcome: Outcome,
    *,
    who: str,
    day: str,
    later: Sequence[Stored] = (),
    note: str = "",
    photos: Sequence[DraftFile] = (),
) -> Draft:
    """What was found of a weld after it was made; `later` are the entries that refer to the joint's.

    Raises
    ------
    UsageError
        When the entry is not that of a measured joint.
    """
    entry = joint.entry
    if entry.kind not in MEASURED_KINDS:
        meant = f" (entry {entry.refers_to[0].number})" if entry.refers_to else ""
        raise UsageError(
            f"entry {entry.number} ({entry.kind}) is no measured joint: give the joint's own entry{meant}."
        )
    about = corrected(entry.about, later).model_copy(
        update={"who": who, "day": day, "verdict": "", "sentence": "", "largest_gap_um": None}
    )
    return Draft(
        kind="outcome",
        about=about,
        refers_to=(_reference(joint),),
        outcome=outcome,
        note=note,
        files=tuple(photos),
    )


def correction_draft(
    wrong: Stored,
    right: dict[str, str],
    *,
    void: bool,
    who: str,
    day: str,
    why: str,
    later: Sequence[Stored] = (),
) -> Draft:
    """What is to be read instead in an entry: fields of `CORRECTABLE` and their right text.

    Raises
    ------
    UsageError
        When nothing is corrected, or the entry is a correction itself.
    """
    entry = wrong.entry
    if entry.kind == "correction":
        raise UsageError(
            f"entry {entry.number} is a correction: correct entry {entry.refers_to[0].number} once more."
        )
    before = corrected(entry.about, later)
    changed: tuple[str, ...] = tuple(
        name for name in CORRECTABLE if name in right and right[name] != getattr(before, name)
    )
    if not changed and not void:
        raise UsageError("say what is to be read instead, such as --joint J4, or --void for all of it.")
    update: dict[str, Any] = {str(name): right[name] for name in changed}
    about = before.model_copy(update={"day": day, "verdict": "", "sentence": "", **update})
    correction = Correction.model_validate({"void": void, "changed": changed, "by": who})
    return Draft(
        kind="correction", about=about, refers_to=(_reference(wrong),), correction=correction, note=why
    )


def corrected(about: About, later: Sequence[Stored]) -> About:
    """What an entry is about, as the corrections among later entries have it."""
    for one in later:
        correction = one.entry.correction
        if correction is not None:
            right: dict[str, Any] = {str(name): getattr(one.entry.about, name) for name in correction.changed}
            about = about.model_copy(update=right)
    return about


def filed_as(archive: Archive, main_sha256: str) -> About | None:
    """What a record, by its digest, is filed as in an archive, corrections counted; None where it is not."""
    found = archive.find_file(main_sha256)
    return None if found is None else corrected(found.entry.about, archive.later(found.entry.number))


def _reference(stored: Stored) -> Reference:
    return Reference(number=stored.entry.number, digest=stored.digest)

"""An accepted correction applied to a profile: gap moved, uncertainty in the budget, said in the notes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fitup.profile.result import GapProfile, Influence
from fitup.scale import GapCorrection

__all__ = ["CORRECTION", "with_correction"]

CORRECTION = "bias correction"


def with_correction(profile: GapProfile, correction: GapCorrection | None, phone: str) -> GapProfile:
    """The profile after an accepted correction; the arrises stay where they were seen.

    A correction for another phone is left out, and the notes say so.
    """
    if correction is None:
        return profile
    if not correction.meant_for(phone):
        note = (
            f"The print's record has a correction of the gap for {correction.phone}; this photo is of "
            f"{phone or 'a camera that does not tell its name'}, so it was not applied."
        )
        return replace(profile, notes=(*profile.notes, note))
    own = Influence(
        name=CORRECTION,
        u_mm=correction.u_mm(profile.gap_mm),
        common=True,
        remedy="repeat the bias study with more readings, over more references",
    )
    rows = [replace(row, u_mm=row.u_mm / correction.slope) for row in profile.budget] + [own]
    budget = tuple(sorted(rows, key=lambda row: -float(np.nanmean(row.u_mm)) if profile.seen.any() else 0.0))
    note = f"The gap was corrected: {correction.sentence}."
    if correction.beyond(profile.gap_mm):
        note = f"{note[:-1]}; gaps beyond these references were shifted as at the nearer end."
    return replace(
        profile,
        gap_mm=correction.gap_mm(profile.gap_mm),
        u_gap_mm=np.sqrt(np.sum([row.u_mm**2 for row in budget], axis=0)),
        budget=budget,
        notes=(*profile.notes, note),
    )

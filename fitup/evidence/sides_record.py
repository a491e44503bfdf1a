"""The record of a joint in two photos, one from either side: as of one photo, gap and step told apart.

Everything is as in `record`: units, standard uncertainties, null for what was not seen. What both photos show
comes in pairs, in the order of `photos`.

History of the format
---------------------
1   first form
2   as version 3 of the record of one photo
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from fitup.evidence import record as entry

__all__ = [
    "SIDES_SCHEMA_VERSION",
    "SidesPhotoEntry",
    "SidesProfileEntry",
    "SidesRecord",
    "SidesStationEntry",
    "StepEntry",
]

SIDES_SCHEMA_VERSION = 2

NotNegative = Annotated[float, Field(ge=0)]
Index = Annotated[int, Field(ge=0, le=1)]
Both = tuple[float | None, float | None]


class _Entry(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class SidesPhotoEntry(_Entry):
    """One photo, the side that its camera stood on, and how it was measured.

    `view_deg` is the usual angle of the view across the joint to the plates' normal, positive where the
    camera stood beyond the joint. `budget` is that of the apparent gap in this photo alone.
    """

    photo: entry.PhotoEntry
    camera_side: Literal["the strip's side", "beyond the joint"]
    view_deg: float
    scale: entry.ScaleEntry
    joint: entry.JointEntry
    camera_response: entry.CameraResponseEntry
    budget: tuple[entry.BudgetLine, ...]


class SidesStationEntry(entry.StationEntry):
    """A station: the gap without the step, what each photo alone shows, and the step.

    `near_px` and `far_px` belong to the photo that knows the apparent gap best. `step_mm` is positive where
    the far plate stands out towards the camera.
    """

    apparent_gap_mm: Both
    u_apparent_gap_mm: Both
    view_tangent: Both
    step_mm: float | None
    u_step_mm: NotNegative | None


class SidesProfileEntry(_Entry):
    """The gap along the joint."""

    step_mm: Annotated[float, Field(gt=0)]
    stations: tuple[SidesStationEntry, ...]
    budget: tuple[entry.BudgetLine, ...]
    notes: tuple[str, ...]


class StepEntry(_Entry):
    """The step between the plates over the whole joint: its median, and the largest with its place."""

    median_mm: float
    u_median_mm: NotNegative
    largest_mm: float
    u_largest_mm: NotNegative
    largest_at_mm: float


class SidesRecord(_Entry):
    """One inspection of one joint from both sides, complete enough to be measured again.

    `step` is null where gap and step could not be told apart; then `not_measurable` says why, and profile and
    verdict are those of the photo `judged` alone.
    """

    schema_version: Literal[2]
    kind: Literal["sides"]
    program: entry.ProgramEntry
    filing: entry.FilingEntry
    request: entry.RequestEntry
    limit: entry.LimitEntry
    print_check: entry.PrintCheckEntry | None
    print_check_sentence: str
    photos: tuple[SidesPhotoEntry, SidesPhotoEntry]
    step: StepEntry | None
    not_measurable: str | None
    judged: Index | None
    profile: SidesProfileEntry
    verdict: entry.VerdictEntry
    notes: tuple[str, ...]
    cautions: tuple[str, ...]

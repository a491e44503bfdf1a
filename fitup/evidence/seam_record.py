"""The record of a joint of several photos: as that of one photo, with the strips and what each photo shows.

Places along the joint are in mm from the foot of the lowest strip's datum mark. Everything else is as in
`record`: units, standard uncertainties, null for what was not seen.

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
    "SEAM_SCHEMA_VERSION",
    "ChainEntry",
    "FaultEntry",
    "HoleEntry",
    "LinkEntry",
    "OverlapEntry",
    "SeamPhotoEntry",
    "SeamRecord",
    "SeamSpotEntry",
    "SeamStationEntry",
    "StripEntry",
]

SEAM_SCHEMA_VERSION = 2

NotNegative = Annotated[float, Field(ge=0)]
Index = Annotated[int, Field(ge=0)]


class _Entry(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class SeamPhotoEntry(_Entry):
    """One photo: what it is, which strips and which stretch it shows, and how it was measured."""

    photo: entry.PhotoEntry
    strips: tuple[int, ...]
    start_mm: float
    end_mm: float
    scale: entry.ScaleEntry
    joint: entry.JointEntry
    camera_response: entry.CameraResponseEntry


class FaultEntry(_Entry):
    """A photo that could not be measured: the error, its reason word, and the strips found in it."""

    name: str
    strips: tuple[int, ...]
    reason: str | None
    error: str


class StripEntry(_Entry):
    """Where a strip's datum mark has its foot on the joint; `touches_next`: taken to touch the next paper."""

    strip_number: int
    place_mm: float
    u_place_mm: NotNegative
    touches_next: bool


class LinkEntry(_Entry):
    """The distance between two strips' zeros as one photo shows it, and what the adjustment left of it."""

    photo: str
    first: int
    second: int
    offset_mm: float
    u_offset_mm: NotNegative
    residual_mm: float


class ChainEntry(_Entry):
    """The strips along the joint; `paper_pitch_mm` is the distance of zeros where papers touch."""

    form: str
    paper_pitch_mm: Annotated[float, Field(gt=0)]
    strips: tuple[StripEntry, ...]
    links: tuple[LinkEntry, ...]


class OverlapEntry(_Entry):
    """Two photos compared over the stations that both show; photos by their place in the record's list."""

    first: Index
    second: Index
    start_mm: float
    end_mm: float
    stations: Index
    mean_difference_mm: float
    u_mean_difference_mm: NotNegative
    chi_square: NotNegative
    degrees_of_freedom: Index


class SeamStationEntry(entry.StationEntry):
    """A station with its strip, the place on it, how well its place is known, and the photos that show it.

    `near_px` and `far_px` belong to the first of `photos`, which weighs most.
    """

    strip_number: int
    on_strip_mm: float
    u_station_mm: NotNegative
    photos: tuple[Index, ...]


class SeamProfileEntry(_Entry):
    """The gap along the joint."""

    step_mm: Annotated[float, Field(gt=0)]
    stations: tuple[SeamStationEntry, ...]
    budget: tuple[entry.BudgetLine, ...]
    notes: tuple[str, ...]


class SeamSpotEntry(entry.SpotEntry):
    """A spot, in places that a person finds on the strips, and the photos that show it."""

    start_strip: int
    start_on_strip_mm: float
    end_strip: int
    end_on_strip_mm: float
    photos: tuple[Index, ...]


class SeamVerdictEntry(entry.VerdictEntry):
    """What was decided for the whole joint."""

    spots: tuple[SeamSpotEntry, ...]


class HoleEntry(_Entry):
    """A stretch that no photo shows, what to do, and the photos that may have been meant to show it."""

    start_mm: float
    end_mm: float
    advice: str
    meant: tuple[str, ...]


class SeamRecord(_Entry):
    """One inspection of one joint from several photos, complete enough to be measured again."""

    schema_version: Literal[2]
    kind: Literal["seam"]
    program: entry.ProgramEntry
    filing: entry.FilingEntry
    request: entry.RequestEntry
    named_strips: tuple[int, int] | None
    limit: entry.LimitEntry
    print_check: entry.PrintCheckEntry | None
    print_check_sentence: str
    photos: tuple[SeamPhotoEntry, ...]
    faults: tuple[FaultEntry, ...]
    chain: ChainEntry
    overlaps: tuple[OverlapEntry, ...]
    profile: SeamProfileEntry
    holes: tuple[HoleEntry, ...]
    verdict: SeamVerdictEntry
    notes: tuple[str, ...]
    cautions: tuple[str, ...]

"""The record of one inspection, as data: what is stored, and in which units.

Lengths are in mm, places in the photo in px of the upright photo with (0, 0) at the centre of the upper
left pixel, times in UTC. `u_...` is a standard uncertainty (k = 1) of the number of the same name.
What was not seen is null; NaN does not exist in a record.

History of the format
---------------------
1   first form
2   joint kinds and their shape; lens profile
3   shop rules, weld settings, the other sheet, joints without wire; photo quality; joint list
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from fitup.evidence.information_entry import InformationEntry
from fitup.evidence.lens_entry import LensEntry
from fitup.evidence.quality_entry import QualityEntry
from fitup.evidence.request_entry import (
    CandidateEntry,
    DecisionEntry,
    LandRuleEntry,
    LimitEntry,
    NotAppliedEntry,
    RequestEntry,
    SeenRuleEntry,
    SheetEntry,
    SpotRuleEntry,
    WireEntry,
)
from fitup.evidence.shape_entry import ShapeEntry

__all__ = [
    "SCHEMA_VERSION",
    "BudgetLine",
    "CameraEntry",
    "CameraResponseEntry",
    "CandidateEntry",
    "CorrectionEntry",
    "DecisionEntry",
    "FilingEntry",
    "InspectionRecord",
    "JointEntry",
    "JointListEntry",
    "LandRuleEntry",
    "LimitEntry",
    "NamedShare",
    "NotAppliedEntry",
    "PhotoEntry",
    "PrintCheckEntry",
    "ProfileEntry",
    "ProgramEntry",
    "RequestEntry",
    "SaddleEntry",
    "ScaleEntry",
    "SeenRuleEntry",
    "SheetEntry",
    "SpotEntry",
    "SpotRuleEntry",
    "SpotWord",
    "StateWord",
    "StationEntry",
    "TargetEntry",
    "VerdictEntry",
    "VerdictWordText",
    "WireEntry",
]

SCHEMA_VERSION = 3

StateWord = Literal["within", "over", "doubtful", "unseen"]
SpotWord = Literal["over", "doubtful", "unseen", "short land"]
VerdictWordText = Literal["within", "re-fixture", "gauge", "retake"]
Point = tuple[float, float]
Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Share = Annotated[float, Field(ge=0, le=1)]


class _Entry(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class ProgramEntry(_Entry):
    """What measured: the same versions give the same numbers, bit for bit."""

    name: Literal["fitup"]
    version: str
    python: str
    numpy: str
    opencv: str


class JointListEntry(_Entry):
    """The joint list that the request was taken from; `instead` names what a person gave otherwise."""

    file_name: str
    sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
    instead: tuple[str, ...]


class FilingEntry(_Entry):
    """Who, for what, and when the record was made; the joint list, where one was used."""

    who: str
    job: str
    part: str
    joint: str
    filed_at_utc: AwareDatetime
    joint_list: JointListEntry | None = None


class CameraEntry(_Entry):
    """What the camera wrote into the photo; null where it wrote nothing."""

    make: str | None
    model: str | None
    lens_model: str | None
    software: str | None
    focal_length_mm: float | None
    focal_length_35mm: float | None
    digital_zoom_ratio: float | None
    taken_at: str | None
    orientation: Annotated[int, Field(ge=1, le=8)]


class PhotoEntry(_Entry):
    """The photo; `sha256` is of the file's bytes as received."""

    name: str
    sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
    byte_count: Annotated[int, Field(ge=0)]
    format: str
    width_px: Annotated[int, Field(gt=0)]
    height_px: Annotated[int, Field(gt=0)]
    camera: CameraEntry
    notes: tuple[str, ...]


class TargetEntry(_Entry):
    """The printed target found in the photo, in nominal lengths."""

    form: str
    strip_number: int
    columns: int
    rows: int
    pitch_mm: Positive
    marker_mm: Positive


class CorrectionEntry(_Entry):
    """A correction of the gap that a person accepted: gap = (reading - intercept) / slope."""

    intercept_mm: float
    slope: Positive
    u_intercept_mm: NotNegative
    u_slope: NotNegative
    covariance_mm: float
    low_mm: NotNegative
    high_mm: Positive
    accepted_by: str
    accepted_on: str
    method: str
    references: str
    readings_sha256: str
    phone: str


class PrintCheckEntry(_Entry):
    """The print record used: the readings, and the factors true by nominal length that follow."""

    number: str
    date: str
    instrument: str
    strip: str
    u_instrument_mm: NotNegative
    along_mm: Positive
    across_mm: Positive
    nominal_along_mm: Positive
    nominal_across_mm: Positive
    thickness_mm: Positive | None = None
    u_thickness_mm: Positive | None = None
    correction: CorrectionEntry | None = None
    along_factor: Positive
    across_factor: Positive
    u_relative: NotNegative


class SaddleEntry(_Entry):
    """One saddle point of the checker: where it is on the target, where it was seen, how far it is off."""

    saddle_id: int
    x_mm: float
    y_mm: float
    u_px: float
    v_px: float
    residual_px: NotNegative


class NamedShare(_Entry):
    """One named part of the local scale's relative standard uncertainty at the middle of the joint."""

    name: str
    u_relative: NotNegative


class ScaleEntry(_Entry):
    """How millimetres come from pixels, and how well that was checked.

    The homography is that of the plane that the joint opens in, to px as a pinhole camera would see them: for
    butt joints and seams the plates' own plane, for other kinds the `opening_plane` of the joint's shape. The
    camera's position has z from that plane.
    """

    target: TargetEntry
    target_thickness_mm: NotNegative
    print_check: PrintCheckEntry | None
    print_check_sentence: str
    marker_count: Annotated[int, Field(ge=0)]
    saddles: tuple[SaddleEntry, ...]
    residual_rms_px: NotNegative
    residual_mm: NotNegative
    sampling_at_joint_px_per_mm: Positive
    tilt_deg: float
    distance_mm: Positive
    camera_position_mm: tuple[float, float, float]
    focal_px: Positive
    u_focal_relative: NotNegative | None
    focal_source: str
    map_model: str
    print_blur_px: NotNegative | None
    homography_px_from_mm: tuple[tuple[float, float, float], ...]
    u_relative_parts: tuple[NamedShare, ...]
    lens: LensEntry | None = None


class JointEntry(_Entry):
    """Where the joint runs, who said so, and how sure the program is of it.

    `evidence` is the mean share of full evidence along the line, `rival` that of the best other line.
    """

    given_by: Literal["person", "program"]
    points_px: tuple[Point, ...]
    evidence: float | None
    rival: float | None


class CameraResponseEntry(_Entry):
    """Tone curve and sharpening of the photo, estimated from the print's own edges.

    The curve is the sRGB encoding, a power of `exponent`, and an S of strength `contrast`.
    """

    modelled: bool
    contrast: float
    exponent: float = 1.0
    sharpening_amount: float
    sharpening_radius_px: NotNegative
    blur_px: NotNegative
    residual: float | None
    u_gap_px: NotNegative
    note: str


class StationEntry(_Entry):
    """One place along the joint. `near` is the arris nearer to the target."""

    station_mm: float
    gap_mm: float | None
    u_gap_mm: NotNegative | None
    near_mm: float | None
    far_mm: float | None
    near_px: Point | None
    far_px: Point | None
    state: StateWord
    unseen_reason: str


class BudgetLine(_Entry):
    """One influence on the gap: root mean square over the seen stations and at the largest gap."""

    name: str
    common: bool
    u_mean_mm: NotNegative | None
    u_at_largest_gap_mm: NotNegative | None
    remedy: str


class ProfileEntry(_Entry):
    """The gap along the joint; s = 0 is the foot of the target's datum mark."""

    step_mm: Positive
    stations: tuple[StationEntry, ...]
    budget: tuple[BudgetLine, ...]
    notes: tuple[str, ...]


class SpotEntry(_Entry):
    """An unbroken stretch that needs a person; `side` and `land_mm` are those of a short land."""

    state: SpotWord
    start_mm: float
    end_mm: float
    largest_gap_mm: float | None
    u_largest_gap_mm: NotNegative | None
    at_mm: float | None
    advice: str
    side: str = ""
    land_mm: float | None = None


class VerdictEntry(_Entry):
    """What was decided for the whole joint."""

    word: VerdictWordText
    sentence: str
    advice: str
    largest_gap_mm: float | None
    u_largest_gap_mm: NotNegative | None
    largest_gap_at_mm: float | None
    seen_share: Share
    spots: tuple[SpotEntry, ...]
    information: InformationEntry | None = None


class InspectionRecord(_Entry):
    """One inspection of one joint, complete enough to be measured again."""

    schema_version: Literal[3]
    program: ProgramEntry
    filing: FilingEntry
    photo: PhotoEntry
    request: RequestEntry
    limit: LimitEntry
    scale: ScaleEntry
    joint: JointEntry
    shape: ShapeEntry | None = None
    camera_response: CameraResponseEntry
    profile: ProfileEntry
    quality: QualityEntry | None = None
    verdict: VerdictEntry
    cautions: tuple[str, ...]

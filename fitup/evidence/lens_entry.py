"""The lens profile in a record, as data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

if TYPE_CHECKING:
    from fitup.scale import ScaleMap

__all__ = ["LensEntry", "lens_entry"]

Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]


class LensEntry(BaseModel):
    """The lens profile, whole, in the frame of the picture as stored; `sha256` is its digest.

    Where the picture contradicted it, it was not used (`used`). `focus` is the share of a lens's stretch
    for close focus; `covariance` is that of log focal length, centre [px], focus and the coefficients.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
    given_by: Literal["person", "program"]
    used: bool
    make: str | None
    model: str | None
    software: str | None
    focal_length_mm: float | None
    focal_length_35mm: float | None
    size_px: tuple[int, int]
    kind: Literal["opencv", "fisheye"]
    focal_px: Positive
    centre_px: tuple[float, float]
    coefficients: tuple[float, ...]
    focus: float
    distance_mm: Positive
    covariance: tuple[tuple[float, ...], ...]
    rms_px: NotNegative
    left_px: NotNegative
    photo_count: Annotated[int, Field(ge=0)]
    point_count: Annotated[int, Field(ge=0)]
    date: str

    @property
    def sentence(self) -> str:
        """What of it a person should know."""
        word = "was used" if self.used else "contradicts the photo and was not used"
        return f"Lens profile {self.sha256[:8]} of {self.date} {word}."


def lens_entry(scale: ScaleMap) -> LensEntry | None:
    """The profile chosen for the photo, also where the picture then contradicted it."""
    choice = scale.sighting.choice
    if choice.profile is None:
        return None
    beside = {
        "sha256": choice.profile.sha256,
        "given_by": "person" if choice.given else "program",
        "used": scale.lens is not None,
    }
    return LensEntry.model_validate(choice.profile.entries | beside)

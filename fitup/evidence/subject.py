"""What evidence is made of: one inspection, as the writers in this folder see it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from fitup.edges import CameraResponse, JointLine
    from fitup.photo import Photo
    from fitup.profile import GapProfile, JointShape, PhotoQuality
    from fitup.scale import ScaleMap, TargetPair
    from fitup.verdict import JointVerdict, Sheet, ShopRules, WeldSettings, Wire

__all__ = ["Filing", "JointListUsed", "Profiled", "Settings", "Subject"]


class Settings(Protocol):
    """What a person said about the joint: with the photo it is enough to measure again."""

    @property
    def wire(self) -> Wire | None: ...  # noqa: D102
    @property
    def sheet(self) -> Sheet | None: ...  # noqa: D102
    @property
    def other_sheet(self) -> Sheet | None: ...  # noqa: D102
    @property
    def rules(self) -> ShopRules: ...  # noqa: D102
    @property
    def weld(self) -> WeldSettings: ...  # noqa: D102
    @property
    def joint_kind(self) -> str: ...  # noqa: D102
    @property
    def target_on(self) -> str | None: ...  # noqa: D102
    @property
    def included_angle_deg(self) -> float: ...  # noqa: D102
    @property
    def overlap_mm(self) -> float | None: ...  # noqa: D102
    @property
    def two_targets(self) -> bool: ...  # noqa: D102
    @property
    def one_sheet(self) -> bool: ...  # noqa: D102
    @property
    def procedure_limit_mm(self) -> float | None: ...  # noqa: D102
    @property
    def procedure_reference(self) -> str: ...  # noqa: D102
    @property
    def bridge_factor(self) -> float | None: ...  # noqa: D102
    @property
    def target_thickness_mm(self) -> float | None: ...  # noqa: D102
    @property
    def arris_radius_mm(self) -> float: ...  # noqa: D102
    @property
    def points_px(self) -> NDArray[np.float64] | None: ...  # noqa: D102
    @property
    def strips(self) -> tuple[int, ...]: ...  # noqa: D102
    @property
    def joint_start_mm(self) -> float | None: ...  # noqa: D102
    @property
    def joint_length_mm(self) -> float | None: ...  # noqa: D102
    @property
    def from_mm(self) -> float | None: ...  # noqa: D102
    @property
    def to_mm(self) -> float | None: ...  # noqa: D102


class Profiled(Protocol):
    """What has a profile and a verdict: a joint in one photo, or in several."""

    @property
    def profile(self) -> GapProfile: ...  # noqa: D102
    @property
    def verdict(self) -> JointVerdict: ...  # noqa: D102


class Subject(Profiled, Protocol):
    """One inspection. Protocols, since the inspection itself is put together after this stage."""

    @property
    def settings(self) -> Settings: ...  # noqa: D102
    @property
    def photo(self) -> Photo: ...  # noqa: D102
    @property
    def scale(self) -> ScaleMap: ...  # noqa: D102
    @property
    def pair(self) -> TargetPair | None: ...  # noqa: D102
    @property
    def line(self) -> JointLine: ...  # noqa: D102
    @property
    def shape(self) -> JointShape: ...  # noqa: D102
    @property
    def response(self) -> CameraResponse: ...  # noqa: D102
    @property
    def quality(self) -> PhotoQuality | None: ...  # noqa: D102


def _utc_now() -> datetime:
    return datetime.now(UTC)


@dataclass(frozen=True, kw_only=True)
class JointListUsed:
    """The joint list that what was asked comes from, and the names of what a person gave otherwise."""

    file_name: str
    sha256: str
    instead: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Filing:
    """Who measured what for which job, and when."""

    who: str = ""
    job: str = ""
    part: str = ""
    joint: str = ""
    joint_list: JointListUsed | None = None
    clock: Callable[[], datetime] = _utc_now
    """Gives the time of filing, with a time zone; tests put their own here."""

"""A joint of several photos as the writers of its evidence see it; protocols, as in `subject`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Protocol

from fitup.evidence.subject import Settings, Subject

if TYPE_CHECKING:
    from fitup.errors import FitupError
    from fitup.profile import GapProfile
    from fitup.profile.joining import SeamProfile
    from fitup.scale import TargetLayout
    from fitup.scale.strip_chain import StripChain
    from fitup.verdict import JointVerdict, Limit

__all__ = ["FaultOfPhoto", "PhotoShare", "SeamSubject", "Stretch"]


class PhotoShare(Protocol):
    """One photo with its stretch of the joined profile, judged."""

    @property
    def path(self) -> str: ...  # noqa: D102
    @property
    def strips(self) -> tuple[int, ...]: ...  # noqa: D102
    @property
    def subject(self) -> Subject: ...  # noqa: D102


class FaultOfPhoto(Protocol):
    """A photo that gave nothing, and why."""

    @property
    def name(self) -> str: ...  # noqa: D102
    @property
    def strips(self) -> tuple[int, ...]: ...  # noqa: D102
    @property
    def fault(self) -> FitupError | None: ...  # noqa: D102


class Stretch(Protocol):
    """A stretch that no photo shows, and the photos that may have been meant to."""

    @property
    def start_mm(self) -> float: ...  # noqa: D102
    @property
    def end_mm(self) -> float: ...  # noqa: D102
    @property
    def meant(self) -> tuple[str, ...]: ...  # noqa: D102


class SeamSubject(Protocol):
    """The joint as a whole."""

    @property
    def settings(self) -> Settings: ...  # noqa: D102
    @property
    def named_strips(self) -> tuple[int, int] | None: ...  # noqa: D102
    @property
    def photos(self) -> Sequence[PhotoShare]: ...  # noqa: D102
    @property
    def faults(self) -> Sequence[FaultOfPhoto]: ...  # noqa: D102
    @property
    def chain(self) -> StripChain: ...  # noqa: D102
    @property
    def layout(self) -> TargetLayout: ...  # noqa: D102
    @property
    def joined(self) -> SeamProfile: ...  # noqa: D102
    @property
    def profile(self) -> GapProfile: ...  # noqa: D102
    @property
    def limit(self) -> Limit: ...  # noqa: D102
    @property
    def verdict(self) -> JointVerdict: ...  # noqa: D102
    @property
    def holes(self) -> Sequence[Stretch]: ...  # noqa: D102
    @property
    def notes(self) -> tuple[str, ...]: ...  # noqa: D102

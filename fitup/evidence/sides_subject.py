"""A joint from both sides as the writers of its evidence see it; a protocol, as in `subject`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Protocol

from fitup.evidence.subject import Profiled, Settings, Subject

if TYPE_CHECKING:
    from fitup.profile.both_sides import Separated
    from fitup.profile.side_views import BothSides
    from fitup.scale import NotMeasurable

__all__ = ["SidePhoto", "SidesSubject"]


class SidePhoto(Protocol):
    """One photo: with the joint's gaps, and as it was measured alone."""

    @property
    def path(self) -> str: ...  # noqa: D102
    @property
    def subject(self) -> Subject: ...  # noqa: D102
    @property
    def alone(self) -> Subject: ...  # noqa: D102


class SidesSubject(Profiled, Protocol):
    """The joint with both photos."""

    @property
    def settings(self) -> Settings: ...  # noqa: D102
    @property
    def photos(self) -> Sequence[SidePhoto]: ...  # noqa: D102
    @property
    def apparent(self) -> BothSides: ...  # noqa: D102
    @property
    def separated(self) -> Separated | None: ...  # noqa: D102
    @property
    def not_separated(self) -> NotMeasurable | None: ...  # noqa: D102
    @property
    def judged(self) -> int | None: ...  # noqa: D102
    @property
    def notes(self) -> tuple[str, ...]: ...  # noqa: D102

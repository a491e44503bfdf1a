"""Where the joint runs in a photo that may not show all of it."""

from __future__ import annotations

from fitup.edges import JointLine, find_joint
from fitup.errors import RetakeError
from fitup.photo import Photo
from fitup.profile.ends import OUTSIDE
from fitup.scale import ScaleMap, TargetSighting
from fitup.scale.in_view import stretch_in_view
from fitup.settings import InspectionSettings

__all__ = ["find_course"]

LEAST_SHOWN_MM = 30.0  # less of a joint makes its course a guess


def find_course(
    photo: Photo, scale: ScaleMap, settings: InspectionSettings, others: tuple[TargetSighting, ...] = ()
) -> JointLine:
    """Find the joint between its own ends or those of the part that was asked for.

    A part that was asked for must be in the photo. Of a joint whose own ends were told, what the photo shows
    is enough; the rest is for the caller to count as unseen. Raises as `find_joint`.
    """
    sheet = settings.opening_sheet

    def between(start_mm: float | None, end_mm: float | None) -> JointLine:
        return find_joint(
            photo,
            scale,
            settings.setup,
            points_px=settings.points_px,
            from_mm=start_mm,
            to_mm=end_mm,
            sheet_mm=None if sheet is None else sheet.thickness_mm,
            others=others,
        )

    start, end = settings.stretch_mm
    try:
        return between(start, end)
    except RetakeError as error:
        if error.reason != OUTSIDE or settings.ends_mm == (None, None):
            raise
        start, end = start or 0.0, scale.sighting.layout.length_mm if end is None else end
        low, high = stretch_in_view(scale, start, end)
        too_little = high - low < LEAST_SHOWN_MM
        asked_and_missing = (settings.from_mm is not None and low > start) or (
            settings.to_mm is not None and high < end - 1.0
        )
        if too_little or asked_and_missing:
            raise
        return between(low, high)

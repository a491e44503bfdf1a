"""Finding the printed target in a photo: markers say where it is, checker saddles say how large it is.

Coarse to fine: outlines on the picture at a quarter, a half and full size, until one level gives
enough; the saddles are always measured on the full picture. Marker corners only start the search:
blur and ink move them by up to some percent of the marker, a saddle is symmetric and stays.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.errors import RetakeError
from fitup.photo import Photo
from fitup.photo.blame import blaming
from fitup.scale.layout import TargetLayout, known_layouts
from fitup.scale.lens_choice import LensChoice
from fitup.scale.lens_guess import fit_through_guessed_lens
from fitup.scale.lens_model import LensModel
from fitup.scale.markers import Markers
from fitup.scale.saddles import SaddleFit, fit_saddles, in_line, jacobian, project
from fitup.scale.strips import LEAST_MARKERS, PLACE, all_strips, best_strip

__all__ = ["BENT_MM", "TargetSighting", "find_board", "find_boards", "find_target", "find_targets"]

_LEVELS = (4, 2, 1)
_LEAST_SADDLES = 8
_ENOUGH_SADDLES, _ENOUGH_MARKERS = 24, 12
_NEARLY_ALL = 0.9  # of a strip's saddles: that few of its markers were read for them does not matter
# Common part of neighbouring residuals: 0.07 mm for a bow of 1 mm over the long strip, 0.04-0.06 mm for a
# lens that is off by 1 % at the corner (drawn photos); noise averages out of it.
BENT_MM = 0.06
_LOOSE_SHARE = 0.35
_START_BOUND_MM = 0.4

# What a wrong lens profile may look like.
_NO_PLANE = ("unknown board", "too few saddles", "bent target")
# Which failure tells most when several levels failed in different ways, best last.
_RANK = ("no target", "mirrored target", "too few markers", "unknown board", "same strip twice",
         "too few saddles", "saddles in a line", "bent target")  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class TargetSighting:
    """One target as seen in a photo; only saddles that passed the robust fit are kept.

    saddle_ids (N,); saddles_px (N, 2) measured; saddles_mm (N, 2) nominal places in the target frame;
    residual_px (N,) distance to the fitted homography; homography (3, 3) px <- nominal mm. Both are in ideal
    pixels where `lens`, the photo's lens upright, is known or told by the saddles (`lens_guessed`);
    saddles_px always are as seen.
    """

    layout: TargetLayout
    saddle_ids: NDArray[np.int64]
    saddles_px: NDArray[np.float64]
    saddles_mm: NDArray[np.float64]
    residual_px: NDArray[np.float64]
    homography: NDArray[np.float64]
    marker_count: int
    dropped_count: int
    reduction: int
    notes: tuple[str, ...] = ()
    lens: LensModel | None = None
    lens_guessed: bool = False
    choice: LensChoice = field(default_factory=LensChoice)

    def to_px(self, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Points of the printed face (..., 2) mm to the photo (..., 2) px."""
        ideal = project(self.homography, points_mm)
        return ideal if self.lens is None else self.lens.distort(ideal)

    def local(self, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """(..., 2, 2) derivative of `to_px`."""
        slope = jacobian(self.homography, points_mm)
        if self.lens is None:
            return slope
        return np.asarray(self.lens.slope(project(self.homography, points_mm)) @ slope)


def find_target(photo: Photo, choice: LensChoice | None = None) -> TargetSighting:
    """Find the printed strip in a photo, whose lens may be known by a profile.

    Raises RetakeError with the reason: no target, mirrored target, too few markers, unknown board,
    same strip twice, too few saddles, saddles in a line, bent target.
    """
    with blaming(photo):
        found = _through_lens(
            photo, choice, lambda lens: (find_board(photo.grey8, known_layouts(), lens=lens),)
        )
    return found[0]


def find_targets(
    photo: Photo, expected: int = 1, choice: LensChoice | None = None
) -> tuple[TargetSighting, ...]:
    """Find all printed strips in a photo, that with the most saddles first.

    Each is accepted by the rules of `find_target`; a strip that was read but refused is named in the
    notes of the others. A second strip that is seen at a steep slant shows no marker on a small picture:
    as long as fewer than `expected` are found, finer ones are searched too. Raises RetakeError for the
    same strip twice, and as `find_target` where no strip is accepted.
    """
    with blaming(photo):
        return _through_lens(
            photo,
            choice,
            lambda lens: find_boards(photo.grey8, known_layouts(), expected=expected, lens=lens),
        )


def _through_lens(
    photo: Photo,
    choice: LensChoice | None,
    find: Callable[[LensModel | None], tuple[TargetSighting, ...]],
) -> tuple[TargetSighting, ...]:
    """Find with the lens taken out; where no plane comes of that, as if nothing were known of the lens."""
    if choice is None:
        choice = LensChoice()
    if choice.used is not None:
        lens = choice.used.lens.turned(photo.camera.orientation)
        try:
            return tuple(replace(sighting, choice=choice) for sighting in find(lens))
        except RetakeError as failure:
            if failure.reason not in _NO_PLANE:
                raise
        found = find(None)
        return tuple(replace(sighting, choice=choice.contradicted()) for sighting in found)
    return tuple(
        replace(sighting, choice=choice.guessed() if sighting.lens_guessed else choice)
        for sighting in find(None)
    )


def find_board(
    grey: NDArray[np.uint8],
    layouts: tuple[TargetLayout, ...],
    bent_mm: float = BENT_MM,
    lens: LensModel | None = None,
) -> TargetSighting:
    """Find the best seen of some boards in an 8-bit grey picture (H, W); errors as `find_target`.

    bent_mm is the alarm for boards that are no plane, as the common residual of neighbouring saddles.
    """
    failures: list[RetakeError] = []
    best: TargetSighting | None = None
    for reduction in _LEVELS:
        try:
            sighting = _look(grey, layouts, reduction, bent_mm, lens)
        except RetakeError as failure:
            failures.append(failure)
            continue
        if best is None or len(sighting.saddle_ids) > len(best.saddle_ids):
            best = sighting
        if _enough(best):
            break
    if best is None:
        raise max(failures, key=lambda failure: _RANK.index(failure.reason))
    return best


def find_boards(
    grey: NDArray[np.uint8],
    layouts: tuple[TargetLayout, ...],
    bent_mm: float = BENT_MM,
    expected: int = 1,
    lens: LensModel | None = None,
) -> tuple[TargetSighting, ...]:
    """Find all of some boards in an 8-bit grey picture (H, W), as `find_targets` does."""
    failures: list[RetakeError] = []
    refused: dict[TargetLayout, RetakeError] = {}
    best: dict[TargetLayout, TargetSighting] = {}
    for reduction in _LEVELS:
        try:
            strips, hints = all_strips(grey, layouts, reduction)
        except RetakeError as failure:
            failures.append(failure)
            continue
        for layout, markers in strips:
            try:
                sighting = _measure(grey, layout, markers, reduction, bent_mm, lens)
            except RetakeError as failure:
                refused[layout] = failure
                continue
            if layout not in best or len(sighting.saddle_ids) > len(best[layout].saddle_ids):
                best[layout] = sighting
        enough = all(layout in best and _enough(best[layout]) for layout in hints)
        if enough and len(best) >= expected:
            break
    return _in_order(best, refused, failures)


def _in_order(
    best: dict[TargetLayout, TargetSighting],
    refused: dict[TargetLayout, RetakeError],
    failures: list[RetakeError],
) -> tuple[TargetSighting, ...]:
    twins = [failure for failure in refused.values() if failure.reason == "same strip twice"]
    if twins:
        raise twins[0]
    if not best:
        raise max([*failures, *refused.values()], key=lambda failure: _RANK.index(failure.reason))
    notes = tuple(
        f"Strip {layout.strip_number} is in the photo too and cannot be used: {failure.message}"
        for layout, failure in refused.items()
        if layout not in best
    )
    order = sorted(best.values(), key=lambda seen: (-len(seen.saddle_ids), seen.layout.strip_number))
    return tuple(replace(sighting, notes=notes) for sighting in order)


def _enough(sighting: TargetSighting) -> bool:
    """Whether a finer picture would hardly show more: a covered strip must not pay for all levels."""
    saddles, markers = len(sighting.layout.saddles_mm), sighting.layout.marker_count
    seen = len(sighting.saddle_ids)
    return seen >= _NEARLY_ALL * saddles or (
        seen >= min(_ENOUGH_SADDLES, saddles // 2)
        and sighting.marker_count >= min(_ENOUGH_MARKERS, markers // 2)
    )


def _look(
    grey: NDArray[np.uint8],
    layouts: tuple[TargetLayout, ...],
    reduction: int,
    bent_mm: float,
    lens: LensModel | None,
) -> TargetSighting:
    layout, markers, notes = best_strip(grey, layouts, reduction)
    return replace(_measure(grey, layout, markers, reduction, bent_mm, lens), notes=notes)


def _measure(
    grey: NDArray[np.uint8],
    layout: TargetLayout,
    markers: Markers,
    reduction: int,
    bent_mm: float,
    lens: LensModel | None,
) -> TargetSighting:
    start, used = _start(layout, markers, reduction, lens)
    squares = layout.marker_squares[used]
    fit = fit_saddles(grey, layout, start, squares, lens)
    guessed = None
    if lens is None and _is_bent(fit, bent_mm):
        guessed = fit_through_guessed_lens(grey, layout, fit.homography, squares)
        fit, lens = (fit, None) if guessed is None else guessed
    _accept(layout, fit, bent_mm)
    return TargetSighting(
        layout=layout,
        saddle_ids=fit.ids,
        saddles_px=fit.points_px,
        saddles_mm=layout.saddles_mm[fit.ids],
        residual_px=fit.residual_px,
        homography=fit.homography,
        marker_count=len(used),
        dropped_count=fit.dropped_count,
        reduction=reduction,
        lens=lens,
        lens_guessed=guessed is not None,
    )


def _start(
    layout: TargetLayout, markers: Markers, reduction: int, lens: LensModel | None
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Rough homography px <- mm from marker corners, and the indices of the markers that agree with it."""
    index = markers.ids - layout.first_id
    _refuse_twins(index, markers.corners_px)
    mm, px = layout.marker_corners_mm[index], markers.corners_px
    px = px if lens is None else lens.undistort(px)
    side_px = np.linalg.norm(px - np.roll(px, 1, axis=1), axis=2).mean(1)
    bound = max(_START_BOUND_MM * float(np.median(side_px)) / layout.marker_mm, 1.5 * reduction)
    matrix, _ = cv2.findHomography(mm.reshape(-1, 2), px.reshape(-1, 2), cv2.RANSAC, bound)
    used = np.empty(0, dtype=np.int64)
    if matrix is not None:
        near = np.linalg.norm(project(matrix.astype(np.float64), mm) - px, axis=2).max(1) < 2 * bound
        used = np.unique(index[near])
    if len(used) < LEAST_MARKERS or 2 * len(used) < len(np.unique(index)):
        raise RetakeError(
            "unknown board",
            f"Markers with the numbers of strip {layout.strip_number} ({layout.name}) were read, "
            "but they do not lie as on that strip: another board, an old or foreign drawing of it, "
            "or a badly bent print.",
            "Use a strip that this program has drawn, laid flat.",
        )
    return np.asarray(matrix, dtype=np.float64), used


def _refuse_twins(index: NDArray[np.int64], corners_px: NDArray[np.float64]) -> None:
    """The same strip twice in one photo gives two answers: refuse instead of choosing by chance."""
    if len(np.unique(index)) > len(index) - LEAST_MARKERS:
        return
    centre = corners_px.mean(1)
    side = float(np.median(np.linalg.norm(corners_px[:, 0] - corners_px[:, 1], axis=1)))
    spread = [np.ptp(centre[index == k], axis=0).max() for k in np.unique(index)]
    if np.count_nonzero(np.array(spread) > 2 * side) >= LEAST_MARKERS:
        raise RetakeError(
            "same strip twice",
            "The same strip number lies in the photo twice.",
            "Use strips of different numbers, or cover one of them, and take the photo again.",
        )


def _accept(layout: TargetLayout, fit: SaddleFit, bent_mm: float) -> None:
    """Refuse what cannot carry a scale: few or collinear saddles, a print that is no plane."""
    if len(fit.ids) < _LEAST_SADDLES:
        if fit.dropped_count > len(fit.ids):
            raise _bent(fit)
        raise RetakeError(
            "too few saddles",
            f"Only {len(fit.ids)} checker corners of the strip can be measured; {_LEAST_SADDLES} are needed.",
            PLACE,
        )
    if in_line(layout.saddles_mm[fit.ids]):
        raise RetakeError(
            "saddles in a line",
            "The checker corners that can be seen lie in one line and carry no scale across it.",
            PLACE,
        )
    if _is_bent(fit, bent_mm):
        raise _bent(fit)


def _is_bent(fit: SaddleFit, bent_mm: float) -> bool:
    loose = fit.dropped_count > _LOOSE_SHARE * (len(fit.ids) + fit.dropped_count)
    return fit.common_mm > bent_mm or loose


def _bent(fit: SaddleFit) -> RetakeError:
    return RetakeError(
        "bent target",
        f"The checker corners miss a plane by {fit.common_mm:.2f} mm together "
        f"and {fit.dropped_count} of them lie apart: the strip is bent, curled or glossy.",
        "Fix it flat to the plate along its whole length, keep glare off it, and take the photo again; "
        "if it is flat, fit a lens profile (fitup lens fit).",
    )

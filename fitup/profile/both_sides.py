"""Gap and step told apart from two photos of one joint, one from either side.

Where the far plate stands out by the step h, a view at an angle shows the gap narrower by h · its tangent.
Each photo alone mixes the two; from both, gap and step follow at every station. What errs alike at all
stations of a photo may err alike in both photos of one phone, or not: it is counted as fully alike for the
gap, a mean, and as not alike for the step, a difference, which is the larger either way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitup.errors import RetakeError
from fitup.profile.budget import STEP, U_STEP_MM
from fitup.profile.joining import U_FOOT_MM
from fitup.profile.overlap import Overlap, compare
from fitup.profile.result import GapProfile, Influence
from fitup.profile.side_views import PLACE, BothSides, SideView, along_from, laid_over, lay_sides
from fitup.scale import NotMeasurable, SpaceLength, step_from_two_views

__all__ = ["VIEW", "Separated", "separate"]

Array64 = NDArray[np.float64]

VIEW = "view angle"
MOST_STEP_MM = (
    1.0  # plates that were clamped for welding do not step by that much (common practice, no source)
)
SLOW_DEGREE = 3  # a step changes along the joint as plates lie and bend: slowly
STATIONS_A_DEGREE = 20
_SAME_IN_BOTH = ("scale: print", "scale: thickness")
_CLEAR_SPREAD = 0.4  # of the tangents, from which other views would not help much: 12 degrees to either side
_TO_EITHER_SIDE = "take the photos from about 15 degrees to either side"


@dataclass(frozen=True, kw_only=True, eq=False)
class Separated:
    """Gap and step told apart; step_mm, u_step_mm (N,) are NaN where not both photos saw."""

    profile: GapProfile
    step_mm: Array64
    u_step_mm: Array64


def separate(views: Sequence[SideView], u_tangent: float) -> Separated | NotMeasurable:
    """Tell gap and step apart, or say why these photos do not.

    A station that only one photo saw has the step of the next ones that both saw, as uncertain as if the
    plates could step otherwise there by what clamped plates usually do.

    Parameters
    ----------
    views : two photos of one joint beside one strip, any order
    u_tangent : standard uncertainty of the tangents of the views

    Raises RetakeError where the photos differ as no step between plates would make them.
    """
    sides = lay_sides(views)
    if not sides.seen_by_both.any():
        return NotMeasurable(
            reason="no place along the joint was seen in both photos",
            remedy="photograph the whole joint from both sides",
        )
    own = sides.u_of([name for name in sides.rows if name not in (STEP, *_SAME_IN_BOTH)])
    shared = sides.u_of(_SAME_IN_BOTH).max(axis=0)
    found = step_from_two_views(
        sides.apparent_mm, np.where(sides.seen, own, np.nan), sides.tangent, u_tangent, shared
    )
    if isinstance(found, NotMeasurable):
        return found
    if isinstance(found.step, NotMeasurable):
        return _too_uncertain(sides, found.step)
    _check(sides, found.step, [view.name for view in views])
    return _separated(views, sides, found.gap.value_mm, found.step, u_tangent)


def _separated(
    views: Sequence[SideView], sides: BothSides, gap_mm: Array64, step: SpaceLength, u_tangent: float
) -> Separated:
    told = np.isfinite(gap_mm)
    any_seen = sides.seen.any(axis=0)
    lead = np.argmin(np.where(sides.seen, np.nan_to_num(sides.u_apparent_mm, nan=np.inf), np.inf), axis=0)
    alone = (np.arange(2)[:, None] == lead) & any_seen & ~told
    t = np.nan_to_num(sides.tangent)
    gain = np.where(
        told, np.stack([-t[1], t[0]]) / np.where(told, t[0] - t[1], 1.0), alone.astype(np.float64)
    )
    h, u_h = (along_from(values, told) for values in (step.value_mm, step.u_mm))
    lead_t = np.take_along_axis(t, lead[None], axis=0)[0]
    gap = np.where(told, gap_mm, (alone * np.nan_to_num(sides.apparent_mm)).sum(axis=0) + h * lead_t)
    blank = np.where(any_seen, 0.0, np.nan)
    rows = [_row(name, *row, gain) for name, row in sides.rows.items() if name != STEP]
    rows.append(
        Influence(
            name=STEP,
            u_mm=np.where(told | ~any_seen, 0.0, np.abs(lead_t) * np.hypot(u_h, U_STEP_MM)),
            common=True,
            remedy="let both photos show the whole joint",
        )
    )
    rows.append(
        Influence(
            name=VIEW,
            u_mm=np.abs(h) * u_tangent * np.sqrt((gain**2).sum(axis=0)),
            common=True,
            remedy="make a lens profile (fitup lens fit)",
        )
    )
    budget = tuple(sorted(rows, key=lambda row: -float(row.u_mm.mean())))
    total: Array64 = np.sqrt(np.sum([row.u_mm**2 for row in budget], axis=0))
    profile = _profile(views, sides.station_mm, lead, gap + blank, total + blank, budget)
    return Separated(profile=profile, step_mm=step.value_mm, u_step_mm=step.u_mm)


def _row(name: str, common: bool, remedy: str, u_mm: Array64, gain: Array64) -> Influence:
    """An influence on the gap that both photos give."""
    if name in _SAME_IN_BOTH:
        joined = np.abs((gain * u_mm).sum(axis=0))
    else:
        part = np.abs(gain) * u_mm
        joined = part.sum(axis=0) if common else np.sqrt((part**2).sum(axis=0))
    return Influence(name=name, u_mm=joined, common=common, remedy=remedy)


def _profile(
    views: Sequence[SideView],
    station_mm: Array64,
    lead: NDArray[np.intp],
    gap_mm: Array64,
    u_gap_mm: Array64,
    budget: tuple[Influence, ...],
) -> GapProfile:
    """The joined profile; its pixels belong to the photo that knows the apparent gap best."""
    at = laid_over(views, station_mm)
    index = np.arange(len(station_mm))

    def of_lead(name: str) -> Array64:
        values = np.stack(
            [laid.take(getattr(view.profile, name)) for laid, view in zip(at, views, strict=True)]
        )
        missing = ~np.asarray(np.isfinite(values).all(axis=tuple(range(2, values.ndim))))
        chosen = np.where(missing[lead, index], 1 - lead, lead)  # a line outside one photo lies in the other
        return np.asarray(values[chosen, index])

    near, seen = of_lead("near_mm"), np.isfinite(gap_mm)
    blank = np.where(seen, 0.0, np.nan)
    reasons = [laid.words(view.profile.unseen_reason) for laid, view in zip(at, views, strict=True)]
    return GapProfile(
        station_mm=station_mm,
        gap_mm=gap_mm,
        u_gap_mm=u_gap_mm,
        near_mm=near + blank,
        far_mm=near + gap_mm,
        near_px=of_lead("near_px") + blank[:, None],
        far_px=of_lead("far_px") + blank[:, None],
        centre_px=of_lead("centre_px"),
        unseen_reason=tuple(
            "" if ok else first or second for ok, first, second in zip(seen, *reasons, strict=True)
        ),
        budget=budget,
        notes=tuple(dict.fromkeys(note for view in views for note in view.profile.notes)),
        step_mm=views[0].profile.step_mm,
    )


def _check(sides: BothSides, step: SpaceLength, names: Sequence[str]) -> None:
    """Refuse photos between which something moved: a step changes slowly, and is no millimetre."""
    told = np.isfinite(step.value_mm)
    h, u = step.value_mm[told], step.u_mm[told]
    if np.median(np.abs(h) - 2 * u) > MOST_STEP_MM:
        raise _disagreement(
            names,
            f"as plates with a step of {np.median(h):.1f} mm would look, which clamped ones do not have",
        )
    x = (sides.station_mm - sides.station_mm.mean()) / 100.0
    slow = np.polynomial.polynomial.polyfit(x[told], h, min(SLOW_DEGREE, len(h) // STATIONS_A_DEGREE))
    smooth = np.polynomial.polynomial.polyval(x, slow)
    rows = {name: row for name, row in sides.rows.items() if name not in (STEP, PLACE)}
    overlap = compare(
        (0, 1),
        sides.station_mm,
        np.where(told, sides.apparent_mm + smooth * sides.tangent, np.nan),
        {name: (common, u_mm) for name, (common, _, u_mm) in rows.items()},
        U_FOOT_MM,
    )
    if overlap is not None and not overlap.agrees:
        raise _disagreement(names, _where(overlap))


def _where(overlap: Overlap) -> str:
    return (
        f"from {overlap.worst_start_mm:.0f} to {overlap.worst_end_mm:.0f} mm along the joint, by a gap of "
        f"{overlap.worst_first_mm:.2f} mm against {overlap.worst_second_mm:.2f} mm"
    )


def _disagreement(names: Sequence[str], how: str) -> RetakeError:
    return RetakeError(
        "photos disagree",
        f"{names[0]} and {names[1]} disagree {how}.",
        "Move neither strip nor parts between the photos, and photograph the joint again from both sides.",
    )


def _too_uncertain(sides: BothSides, step: NotMeasurable) -> NotMeasurable:
    """Why the step is told too badly, in the words of the photos' own budgets."""
    both = sides.seen_by_both
    spread = np.abs(sides.tangent[0] - sides.tangent[1])[both]
    size = {
        name: float(np.median(np.hypot(*u_mm[:, both])))
        for name, (_, _, u_mm) in sides.rows.items()
        if name not in (STEP, *_SAME_IN_BOTH)
    }
    worst = max(size, key=lambda name: size[name])
    known = step.reason.split(",", maxsplit=1)[0]
    if np.median(spread) < _CLEAR_SPREAD:
        return NotMeasurable(
            reason=f"the photos look across the joint from only {_degrees(sides, both):.0f}° apart, and the "
            f"step between the plates is {known.removeprefix('it would be ')}",
            remedy=_TO_EITHER_SIDE,
        )
    return NotMeasurable(reason=f"{known}, mostly because of: {worst}", remedy=sides.rows[worst][1])


def _degrees(sides: BothSides, both: NDArray[np.bool_]) -> float:
    first, second = np.degrees(np.arctan(np.median(sides.tangent[:, both], axis=1)))
    return float(abs(first - second))

"""The verdict on a joint from its gap profile: within, gauge, retake or re-fixture; the worst wins.

From bad to good, and why in this order:

re-fixture
    A spot is over the limit. A measured opening stays true whatever else was not seen, so this stands even
    when large parts are unseen; those are listed too.
retake
    Less than `least_seen_share` of the joint was seen, or one unseen stretch is longer than
    `longest_unseen_mm`.
gauge
    Nothing is over, but spots are doubtful, a land is short, or shorter stretches are unseen. A gap that was
    not seen is never taken as fine: a tack (3 to 6 mm, common practice, no source) or a clamp may cover it,
    and only a person can tell. Hence 10 mm as the longest unseen stretch that is left to a person.
within
    No spot is left.

No sentence here tells anybody to start work: the verdict is about the fit-up and nothing else.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitup.verdict.advice import (
    beside_over_advice,
    doubtful_advice,
    joint_advice,
    joint_sentence,
    only_part,
    over_advice,
    short_land_advice,
    unseen_advice,
)
from fitup.verdict.decision import DecisionRule, StationState, decide
from fitup.verdict.lands import LandRule, LandState, LandsToJudge, ShortLand, find_short_lands
from fitup.verdict.limits import Limit
from fitup.verdict.result import JointVerdict, SeenRule, Spot, VerdictWord
from fitup.verdict.spots import SpotRule, Stretch, find_stretches, runs_of

if TYPE_CHECKING:  # reading a wire size must not load the image processing
    from fitup.profile import GapProfile
    from fitup.profile.quality import PhotoQuality

__all__ = ["judge", "seen_enough", "worst_word"]

_ROUNDING = 1e-9


def judge(
    profile: GapProfile,
    limit: Limit,
    rule: DecisionRule | None = None,
    spot_rule: SpotRule | None = None,
    seen_rule: SeenRule | None = None,
    *,
    part_only: bool = False,
    lands: LandsToJudge | None = None,
    land_rule: LandRule | None = None,
    quality: PhotoQuality | None = None,
) -> JointVerdict:
    """Judge a joint: every station, then the spots, then the whole.

    Parameters
    ----------
    profile : GapProfile
        Gap and uncertainty at N stations.
    limit : Limit
        From `fillable_gap`.
    rule, spot_rule, seen_rule : optional
        How sure a state must be; lengths for merging and dropping; how much must be seen.
        The defaults are those of the classes.
    part_only : bool
        Whether the profile is a part of the joint that a person asked for, which the verdict then says.
    lands : LandsToJudge, optional
        Lands at the profile's stations, where the joint has some.
    land_rule : LandRule, optional
        From when a land is short.
    quality : PhotoQuality, optional
        Of a single photo: what was measured of the causes of unseen stations makes the advice specific.
    """
    rule, spot_rule, seen_rule = rule or DecisionRule(), spot_rule or SpotRule(), seen_rule or SeenRule()
    states = decide(profile.gap_mm, profile.u_gap_mm, limit.limit_mm, rule)
    stretches = find_stretches(states, profile.step_mm, spot_rule)
    causes = {} if quality is None else quality.causes
    told = [_spot(profile, states, stretch, limit, rule, causes) for stretch in stretches]
    spots = _with_neighbours(profile, stretches, told, spot_rule)
    land_rule = None if lands is None else land_rule or LandRule()
    if lands is not None and land_rule is not None:
        short = find_short_lands(lands, profile.step_mm, land_rule)
        spots = tuple(
            sorted((*spots, *(_land_spot(profile, one) for one in short)), key=lambda spot: spot.start_mm)
        )
    enough = seen_enough(profile.seen, profile.step_mm, seen_rule)
    word = worst_word([spot.state for spot in spots], enough)
    largest = _largest(profile, profile.seen)
    seen_share = float(np.mean(profile.seen))
    part = only_part(*_reach(profile)) if part_only else ""
    main_reason = _main_reason(profile.unseen_reason)
    return JointVerdict(
        word=word,
        limit=limit,
        states=states,
        spots=spots,
        largest_gap_mm=largest[0],
        largest_gap_u_mm=largest[1],
        largest_gap_at_mm=largest[2],
        seen_share=seen_share,
        sentence=joint_sentence(word, largest, limit.limit_mm, spots, seen_share) + part,
        advice=joint_advice(
            word,
            spots,
            main_reason,
            enough,
            cause=causes.get(main_reason, ""),
            deciding="" if quality is None else quality.deciding,
        )
        + part,
        decision=rule,
        spot_rule=spot_rule,
        seen_rule=seen_rule,
        land_rule=land_rule,
    )


def worst_word(spot_states: Iterable[str], enough_seen: bool) -> VerdictWord:
    """The verdict on a joint with spots of these states."""
    states = set(spot_states)
    if StationState.OVER in states:
        return VerdictWord.RE_FIXTURE
    if not enough_seen:
        return VerdictWord.RETAKE
    return VerdictWord.GAUGE if states else VerdictWord.WITHIN


def seen_enough(seen: NDArray[np.bool_], step_mm: float, rule: SeenRule) -> bool:
    """Whether enough stations of the (N,) mask are seen, `step_mm` apart, and no hole in it is too long."""
    enough = np.count_nonzero(seen) >= rule.least_seen_share * len(seen) - _ROUNDING
    longest = max((last - first + 1 for first, last in runs_of(~seen)), default=0)
    return bool(enough and longest * step_mm <= rule.longest_unseen_mm + _ROUNDING)


def _spot(
    profile: GapProfile,
    states: tuple[StationState, ...],
    stretch: Stretch,
    limit: Limit,
    rule: DecisionRule,
    causes: Mapping[str, str],
) -> Spot:
    half = profile.step_mm / 2
    start_mm = float(profile.station_mm[stretch.first]) - half
    end_mm = float(profile.station_mm[stretch.last]) + half
    gap_mm, u_mm, at_mm = _largest(profile, _own_stations(states, stretch))
    if stretch.state == StationState.OVER:
        advice = over_advice(start_mm, end_mm, gap_mm, limit.limit_mm)
    elif stretch.state == StationState.DOUBTFUL:
        advice = doubtful_advice(start_mm, end_mm, gap_mm, u_mm, limit.limit_mm, rule)
    else:
        at_mm = (start_mm + end_mm) / 2
        reason = _main_reason(profile.unseen_reason[stretch.cells])
        advice = unseen_advice(start_mm, end_mm, reason, cause=causes.get(reason, ""))
    return Spot(
        state=stretch.state,
        start_mm=start_mm,
        end_mm=end_mm,
        largest_gap_mm=gap_mm,
        u_mm=u_mm,
        at_mm=at_mm,
        advice=advice,
    )


def _land_spot(profile: GapProfile, short: ShortLand) -> Spot:
    half = profile.step_mm / 2
    start_mm = float(profile.station_mm[short.first]) - half
    end_mm = float(profile.station_mm[short.last]) + half
    return Spot(
        state=LandState.SHORT,
        start_mm=start_mm,
        end_mm=end_mm,
        largest_gap_mm=float("nan"),
        u_mm=float("nan"),
        at_mm=(start_mm + end_mm) / 2,
        advice=short_land_advice(start_mm, end_mm, short.side, short.land_mm, short.sheet_mm),
        side=short.side,
        land_mm=short.land_mm,
    )


def _with_neighbours(
    profile: GapProfile, stretches: tuple[Stretch, ...], spots: list[Spot], rule: SpotRule
) -> tuple[Spot, ...]:
    """Say once what holds for several spots: a doubtful rim goes with its opening, like reasons alike."""
    first_with: dict[str, Spot] = {}
    told = []
    for stretch, spot in zip(stretches, spots, strict=True):
        advice, place = spot.advice, (spot.start_mm, spot.end_mm)
        if stretch.state == StationState.DOUBTFUL:
            over = _over_beside(spot, spots, rule.merge_mm)
            advice = beside_over_advice(*place, over.start_mm, over.end_mm) if over else advice
        elif stretch.state == StationState.UNSEEN:
            reason = _main_reason(profile.unseen_reason[stretch.cells])
            like = first_with.setdefault(reason, spot)
            if like is not spot:
                advice = unseen_advice(*place, reason, (like.start_mm, like.end_mm))
        told.append(replace(spot, advice=advice))
    return tuple(told)


def _over_beside(spot: Spot, spots: list[Spot], within_mm: float) -> Spot | None:
    """Return the spot over the limit that touches this one, or lies no further off than spots are merged."""
    over = [other for other in spots if other.state == StationState.OVER]
    away = [max(other.start_mm - spot.end_mm, spot.start_mm - other.end_mm) for other in over]
    nearest = min(range(len(over)), key=away.__getitem__, default=None)
    return None if nearest is None or away[nearest] > within_mm + _ROUNDING else over[nearest]


def _reach(profile: GapProfile) -> tuple[float, float]:
    """From where to where the stations' cells reach [mm]."""
    half = profile.step_mm / 2
    return float(profile.station_mm[0]) - half, float(profile.station_mm[-1]) + half


def _own_stations(states: tuple[StationState, ...], stretch: Stretch) -> NDArray[np.bool_]:
    """(N,) mask of the stretch's stations that make it what it is, without those merged into it."""
    own = np.zeros(len(states), dtype=bool)
    # A stretch over the limit that is too short by the rule counts as doubtful.
    kinds = {stretch.state, StationState.OVER} - {StationState.UNSEEN}
    own[stretch.cells] = [state in kinds for state in states[stretch.cells]]
    return own


def _largest(profile: GapProfile, mask: NDArray[np.bool_]) -> tuple[float, float, float]:
    """Largest gap under a (N,) mask, its standard uncertainty and its station [mm]; all NaN for none."""
    if not mask.any():
        return float("nan"), float("nan"), float("nan")
    index = int(np.argmax(np.where(mask, profile.gap_mm, -np.inf)))
    return float(profile.gap_mm[index]), float(profile.u_gap_mm[index]), float(profile.station_mm[index])


def _main_reason(reasons: tuple[str, ...]) -> str:
    """The commonest reason among unseen stations, the first of those that are equally common; "" if none."""
    counts = Counter(reason for reason in reasons if reason)
    return counts.most_common(1)[0][0] if counts else ""

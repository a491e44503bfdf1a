"""The verdict on a joint after feeler-gauge readings: the same rules, on the states as settled.

With no reading at all it is the verdict of the photo, spot by spot.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fitup.verdict.advice import (
    beside_over_advice,
    blades_advice,
    doubtful_advice,
    over_advice,
    place_in_words,
    unseen_advice,
)
from fitup.verdict.decision import StationState
from fitup.verdict.feeler import FeelerReading
from fitup.verdict.joint import seen_enough, worst_word
from fitup.verdict.judged import JudgedJoint
from fitup.verdict.lands import LandState
from fitup.verdict.result import Spot, VerdictWord
from fitup.verdict.settling import CONTRADICTION, SettledStations, settle_stations
from fitup.verdict.spots import Stretch, find_stretches

__all__ = ["SettledSpot", "SettledVerdict", "settle"]

_ROUNDING_MM = 1e-6


@dataclass(frozen=True, kw_only=True)
class SettledSpot:
    """A stretch that still needs a person, and the readings (by index) that made it what it is."""

    state: StationState | LandState
    start_mm: float
    end_mm: float
    advice: str
    by: tuple[int, ...]


@dataclass(frozen=True, kw_only=True)
class SettledVerdict:
    """The verdict after the readings, beside that of the photo alone."""

    word: VerdictWord
    measured: VerdictWord
    sentence: str
    advice: str
    spots: tuple[SettledSpot, ...]
    stations: SettledStations
    known_share: float
    """Share of the stations that were measured or settled, 0 to 1."""


def settle(joint: JudgedJoint, readings: Sequence[FeelerReading]) -> SettledVerdict:
    """Judge the joint again with what the blades found; measured gaps stay as they are."""
    stations = settle_stations(joint, readings)
    stretches = find_stretches(stations.states, joint.step_mm, joint.spot_rule)
    spots = [_spot(joint, stations, stretch, readings) for stretch in stretches]
    spots += [_unchanged(spot) for spot in joint.spots if spot.state == LandState.SHORT]
    spots = _rims(sorted(spots, key=lambda spot: spot.start_mm), joint)
    unseen = np.array([state == StationState.UNSEEN for state in stations.states], dtype=bool)
    enough = seen_enough(~unseen, joint.step_mm, joint.seen_rule)
    word = worst_word([spot.state for spot in spots], enough) if readings else joint.word
    return SettledVerdict(
        word=word,
        measured=joint.word,
        sentence=_sentence(joint, word, spots, stations),
        advice=_advice(word, spots),
        spots=tuple(spots),
        stations=stations,
        known_share=float(np.mean(~unseen)),
    )


def _unchanged(spot: Spot) -> SettledSpot:
    return SettledSpot(
        state=spot.state, start_mm=spot.start_mm, end_mm=spot.end_mm, advice=spot.advice, by=()
    )


def _spot(
    joint: JudgedJoint, stations: SettledStations, stretch: Stretch, readings: Sequence[FeelerReading]
) -> SettledSpot:
    start_mm = float(joint.cell_start_mm[stretch.first])
    end_mm = float(joint.cell_end_mm[stretch.last])
    by = tuple(sorted({index for of_station in stations.by[stretch.cells] for index in of_station}))
    if stretch.state == StationState.UNSEEN:
        advice = _unseen_advice(joint, stretch, start_mm, end_mm)
    elif stretch.state == StationState.DOUBTFUL:
        advice = _doubtful_advice(joint, stations, stretch, start_mm, end_mm)
    else:
        advice = _over_advice(joint, stretch, start_mm, end_mm, [readings[index] for index in by])
    return SettledSpot(state=stretch.state, start_mm=start_mm, end_mm=end_mm, advice=advice, by=by)


def _over_advice(
    joint: JudgedJoint, stretch: Stretch, start_mm: float, end_mm: float, readings: Sequence[FeelerReading]
) -> str:
    measured = np.where(joint.are(StationState.OVER), joint.gap_mm, np.nan)[stretch.cells]
    if np.isfinite(measured).any():
        return over_advice(start_mm, end_mm, float(np.nanmax(measured)), joint.limit_mm)
    # A short opening counts as doubtful by the spot rule, and is over here only by a blade.
    blade = max((one.blade_mm for one in readings if one.goes_in), default=joint.limit_mm)
    return (
        f"re-fixture {place_in_words(start_mm, end_mm)}: {blade:.2f} mm of blades goes in, "
        f"limit {joint.limit_mm:.2f} mm"
    )


def _doubtful_advice(
    joint: JudgedJoint, stations: SettledStations, stretch: Stretch, start_mm: float, end_mm: float
) -> str:
    place = place_in_words(start_mm, end_mm)
    if any(stations.near_limit[stretch.cells]):
        return (
            f"close it further: {place}: the gap is so near the limit of {joint.limit_mm:.2f} mm that no "
            f"blade tells; {blades_advice(joint.limit_mm, joint.decision)}"
        )
    open_still = joint.are(StationState.DOUBTFUL, StationState.OVER)[stretch.cells]
    if not open_still.any():
        return f"photograph again: {place}: a blade went in where the photo shows a narrower gap"
    index = stretch.first + int(np.argmax(np.where(open_still, joint.gap_mm[stretch.cells], -np.inf)))
    gap_mm, u_mm = float(joint.gap_mm[index]), float(joint.u_gap_mm[index])
    return doubtful_advice(start_mm, end_mm, gap_mm, u_mm, joint.limit_mm, joint.decision)


def _unseen_advice(joint: JudgedJoint, stretch: Stretch, start_mm: float, end_mm: float) -> str:
    reasons = Counter(reason for reason in joint.unseen_reason[stretch.cells] if reason)
    return unseen_advice(start_mm, end_mm, reasons.most_common(1)[0][0] if reasons else "")


def _rims(spots: Sequence[SettledSpot], joint: JudgedJoint) -> list[SettledSpot]:
    """A doubtful stretch beside one over the limit goes with it, as in the verdict of the photo."""
    over = [spot for spot in spots if spot.state == StationState.OVER]
    told = []
    for spot in spots:
        beside = next((one for one in over if _touch(spot, one, joint.spot_rule.merge_mm)), None)
        if spot.state == StationState.DOUBTFUL and beside is not None:
            place = (spot.start_mm, spot.end_mm, beside.start_mm, beside.end_mm)
            spot = replace(spot, advice=beside_over_advice(*place))
        told.append(spot)
    return told


def _touch(spot: SettledSpot, other: SettledSpot, within_mm: float) -> bool:
    away_mm = max(other.start_mm - spot.end_mm, spot.start_mm - other.end_mm)
    return away_mm <= within_mm + _ROUNDING_MM


def _sentence(
    joint: JudgedJoint, word: VerdictWord, spots: Sequence[SettledSpot], stations: SettledStations
) -> str:
    count = len(stations.remarks)
    if not count:
        return joint.sentence
    named = [
        f"{len(of)} {'spot' if len(of) == 1 else 'spots'} {words}"
        for state, words in (
            (StationState.OVER, "over the limit"),
            (StationState.DOUBTFUL, "doubtful"),
            (LandState.SHORT, "with a short land"),
            (StationState.UNSEEN, "unseen"),
        )
        if (of := [spot for spot in spots if spot.state == state])
    ]
    by = f"{word} with {count} feeler-gauge {'reading' if count == 1 else 'readings'}"
    left = "; ".join(named) or "no spot is left"
    part = "; only a part of the joint was looked at" if joint.part_only else ""
    if any(said.startswith(CONTRADICTION) for of in stations.remarks for said in of):
        left += "; READINGS CONTRADICT"
    return f"{by}, limit {joint.limit_mm:.2f} mm: {left} (the photo alone: {joint.word}){part}"


def _advice(word: VerdictWord, spots: Sequence[SettledSpot]) -> str:
    if word == VerdictWord.WITHIN:
        return "the fit-up is inside the limit: nothing to correct"
    wanted = {VerdictWord.RE_FIXTURE: StationState.OVER, VerdictWord.RETAKE: StationState.UNSEEN}.get(word)
    first = [spot for spot in spots if wanted in (None, spot.state)]
    if not first:  # too little was seen, and the rule names no stretch that short
        return "photograph the joint again: show the whole joint"
    more = f"; and {len(first) - 1} more listed" if len(first) > 1 else ""
    again = "; then photograph the joint again" if word == VerdictWord.RE_FIXTURE else ""
    return f"{first[0].advice}{more}{again}"

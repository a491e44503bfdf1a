"""A result as its page tells it: the numbers and words of a record, without a sentence in any language.

Sentences are made by the templates from the words of the phone's language, in the phone's units; the record
itself, with its English sentences, stays as it is.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from fitup.evidence.judged_record import AnyRecord, judged_joint
from fitup.evidence.record import InspectionRecord
from fitup.evidence.seam_record import SeamSpotEntry
from fitup.phone.remedies import picture_of_reason, pictures_of_remedies
from fitup.verdict.decision import StationState
from fitup.verdict.feeler import settling_blades_mm
from fitup.verdict.judged import JudgedJoint
from fitup.verdict.lands import LandState
from fitup.verdict.result import Spot
from fitup.verdict.settled import SettledSpot, SettledVerdict

__all__ = ["ResultView", "Retake", "SpotView", "result_view"]


@dataclass(frozen=True, kw_only=True)
class SpotView:
    """One stretch that needs a person."""

    number: int
    state: str
    """over, doubtful, unseen or short land."""
    start_mm: float
    end_mm: float
    at_mm: float
    gap_mm: float | None
    u_gap_mm: float | None
    reason: str
    """Why it is unseen, the machine word; "" otherwise."""
    beside_over: int | None
    """Of a doubtful rim, the number of the spot over the limit beside it: closing that one closes it too."""
    like: int | None
    """Of an unseen spot, the number of an earlier one with the same reason: what is said there holds here."""
    land_mm: float | None
    side: str
    strip: int | None
    """Of a joint of several photos: the strip whose ruler shows where it begins, and the place there."""
    on_strip_mm: float | None


@dataclass(frozen=True, kw_only=True)
class Retake:
    """One thing to do for the next photo: the record's own sentence, and the picture that shows it."""

    picture: str
    remedy: str


@dataclass(frozen=True, kw_only=True)
class ResultView:
    """The whole result."""

    word: str
    """within, re-fixture, gauge or retake: after settlements, where there are any."""
    measured_word: str
    kind: str
    limit_mm: float
    limit_rule: str
    limit_reference: str
    largest_gap_mm: float | None
    u_largest_gap_mm: float | None
    largest_gap_at_mm: float | None
    seen_percent: int
    spots: tuple[SpotView, ...]
    first: SpotView | None
    """The spot to begin with: the widest over the limit, else the first of the verdict's own kind."""
    inside_blade_mm: float | None
    over_blade_mm: float
    retakes: tuple[Retake, ...]
    photo_count: int
    width_px: int
    height_px: int
    length_mm: float
    information: bool
    """Whether the record has hints on wire and settings, which decide nothing."""


def result_view(record: AnyRecord, settled: SettledVerdict | None = None) -> ResultView:
    """What the page of a result tells; `settled` is the verdict after feeler readings."""
    joint, verdict = judged_joint(record), record.verdict
    stations = record.profile.stations
    inside_mm, over_mm = settling_blades_mm(joint.limit_mm, joint.decision)
    photo = record.photo if isinstance(record, InspectionRecord) else None
    spots = _spots(joint, settled.spots if settled else joint.spots, record)
    return ResultView(
        word=str(settled.word if settled else verdict.word),
        measured_word=verdict.word,
        kind=record.request.joint_kind,
        limit_mm=joint.limit_mm,
        limit_rule=record.limit.rule,
        limit_reference=record.request.procedure_reference,
        largest_gap_mm=verdict.largest_gap_mm,
        u_largest_gap_mm=verdict.u_largest_gap_mm,
        largest_gap_at_mm=verdict.largest_gap_at_mm,
        seen_percent=math.floor(100 * verdict.seen_share + 1e-6),
        spots=spots,
        first=_first(spots),
        inside_blade_mm=inside_mm,
        over_blade_mm=over_mm,
        retakes=_retakes(record, joint),
        photo_count=1 if photo else len(getattr(record, "photos", ())),
        width_px=photo.width_px if photo else 0,
        height_px=photo.height_px if photo else 0,
        length_mm=stations[-1].station_mm - stations[0].station_mm + joint.step_mm,
        information=verdict.information is not None,
    )


def _spots(
    joint: JudgedJoint, spots: Sequence[Spot | SettledSpot], record: AnyRecord
) -> tuple[SpotView, ...]:
    on_strips = {
        (spot.start_mm, spot.end_mm): (spot.start_strip, spot.start_on_strip_mm)
        for spot in record.verdict.spots
        if isinstance(spot, SeamSpotEntry)
    }
    told = []
    first_with: dict[str, int] = {}
    for number, spot in enumerate(spots, start=1):
        measured, reason = _measured(joint, spot), _reason(joint, spot)
        like = first_with.setdefault(reason, number) if spot.state == StationState.UNSEEN else number
        strip, on_strip_mm = on_strips.get((spot.start_mm, spot.end_mm), (None, None))
        told.append(
            SpotView(
                number=number,
                state=str(spot.state),
                start_mm=spot.start_mm,
                end_mm=spot.end_mm,
                at_mm=measured[2],
                gap_mm=measured[0],
                u_gap_mm=measured[1],
                reason=reason,
                beside_over=_beside_over(spot, spots, joint.spot_rule.merge_mm),
                like=None if like == number else like,
                land_mm=_number(spot.land_mm) if isinstance(spot, Spot) else None,
                side=spot.side if isinstance(spot, Spot) else "",
                strip=strip,
                on_strip_mm=on_strip_mm,
            )
        )
    return tuple(told)


def _first(spots: Sequence[SpotView]) -> SpotView | None:
    rank = ["over", "doubtful", "short land", "unseen"]
    return min(spots, key=lambda one: (rank.index(one.state), -(one.gap_mm or 0.0)), default=None)


def _measured(joint: JudgedJoint, spot: Spot | SettledSpot) -> tuple[float | None, float | None, float]:
    """Largest gap in a spot, its standard uncertainty, and where: the middle where nothing was seen."""
    middle = (spot.start_mm + spot.end_mm) / 2
    if isinstance(spot, Spot):
        at = spot.at_mm if math.isfinite(spot.at_mm) else middle
        return _number(spot.largest_gap_mm), _number(spot.u_mm), at
    if spot.state in (StationState.UNSEEN, LandState.SHORT):
        return None, None, middle
    cells = joint.inside(spot.start_mm, spot.end_mm) & joint.seen
    if not cells.any():
        return None, None, middle
    index = max(cells.nonzero()[0], key=lambda k: joint.gap_mm[k])
    return float(joint.gap_mm[index]), float(joint.u_gap_mm[index]), float(joint.station_mm[index])


def _reason(joint: JudgedJoint, spot: Spot | SettledSpot) -> str:
    """The commonest reason among a spot's unseen stations; "" where they are seen."""
    if spot.state != StationState.UNSEEN:
        return ""
    inside = joint.inside(spot.start_mm, spot.end_mm)
    reasons = Counter(why for why, is_in in zip(joint.unseen_reason, inside, strict=True) if is_in and why)
    return reasons.most_common(1)[0][0] if reasons else ""


def _beside_over(
    spot: Spot | SettledSpot, spots: Sequence[Spot | SettledSpot], within_mm: float
) -> int | None:
    if spot.state != StationState.DOUBTFUL:
        return None
    apart = {
        number: max(one.start_mm - spot.end_mm, spot.start_mm - one.end_mm)
        for number, one in enumerate(spots, start=1)
        if one.state == StationState.OVER
    }
    nearest = min(apart, key=apart.__getitem__, default=None)
    return nearest if nearest is not None and apart[nearest] <= within_mm + 1e-6 else None


def _retakes(record: AnyRecord, joint: JudgedJoint) -> tuple[Retake, ...]:
    """What would make the next photo better: measured causes first, else what the unseen places ask for."""
    quality = record.quality if isinstance(record, InspectionRecord) else None
    told = pictures_of_remedies(quality.next_photo) if quality else {}
    reasons = Counter(why for why in joint.unseen_reason if why)
    if record.verdict.word == "retake":
        for reason, _ in reasons.most_common(2):
            told.setdefault(picture_of_reason(reason), "")
    if record.request.joint_kind not in ("butt", "seam") and "square" in told:
        told["slant"] = told.pop("square")
    return tuple(Retake(picture=picture, remedy=remedy) for picture, remedy in told.items())[:3]


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None

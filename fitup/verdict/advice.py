"""The sentences of a verdict, in a fitter's words: where, how wide, what to do."""

from __future__ import annotations

import math
from collections.abc import Sequence

from fitup.verdict.decision import DecisionRule, StationState
from fitup.verdict.feeler import settling_blades_mm
from fitup.verdict.lands import LandState
from fitup.verdict.result import Spot, VerdictWord

__all__ = [
    "beside_over_advice",
    "blades_advice",
    "doubtful_advice",
    "joint_advice",
    "joint_sentence",
    "only_part",
    "over_advice",
    "place_in_words",
    "short_land_advice",
    "unseen_advice",
]

# Reasons why a station is unseen, and what to change for the next photo.
_REMEDIES = {
    "covered": "clear what covers the joint",
    "glare": "move the lamp or the phone until the shine is gone",
    "lit from behind": "cover the opening's back",
    "land not seen": "light the lands beside the gap from another side, and keep the gap's back dark",
    "low contrast": "bring more light to the joint",
    "poor photo": "hold the phone still, and give the photo as the camera stored it",
    "shadow": "move the lamp to the other side of the joint",
    "second line": "clean off the line beside the gap",
    "poor fit": "wipe the edges clean and hold the phone still",
    "outside photo": "bring the whole length into the photo",
    "steep view": "hold the phone squarely above this part",
    "no photo": "show every stretch in a photo",
}
_SHORT_MM = 5.0
_SAFETY = 1e-6


def place_in_words(start_mm: float, end_mm: float) -> str:
    """A stretch from the datum mark, rounded outwards."""
    return f"{_from_to(start_mm, end_mm)} from the datum mark"


def over_advice(start_mm: float, end_mm: float, gap_mm: float, limit_mm: float) -> str:
    """Where to re-fixture, and by how much the gap is too wide."""
    decimals = _decimals(gap_mm, limit_mm)
    gap, limit = round(gap_mm, decimals), round(limit_mm, decimals)
    too_wide = f"{gap - limit:.{decimals}f} mm" if gap > limit else "less than 0.001 mm"
    return (
        f"re-fixture {place_in_words(start_mm, end_mm)}: "
        f"gap {gap:.{decimals}f} mm, limit {limit:.{decimals}f} mm ({too_wide} too wide)"
    )


def doubtful_advice(
    start_mm: float, end_mm: float, gap_mm: float, u_mm: float, limit_mm: float, rule: DecisionRule
) -> str:
    """Where to gauge, and which blades settle the question either way by the rule."""
    decimals = _decimals(gap_mm, limit_mm)
    return (
        f"settle with a feeler gauge: {place_in_words(start_mm, end_mm)}: "
        f"gap {_gap(gap_mm, u_mm, decimals)}, limit {limit_mm:.{decimals}f} mm; "
        f"{blades_advice(limit_mm, rule)}"
    )


def blades_advice(limit_mm: float, rule: DecisionRule) -> str:
    """Which blades settle a doubt about this limit."""
    inside_mm, over_mm = settling_blades_mm(limit_mm, rule)
    inside = f"inside the limit if {inside_mm:.2f} mm of blades does not go in, " if inside_mm else ""
    return f"{inside}over it if {over_mm:.2f} mm goes in"


def beside_over_advice(start_mm: float, end_mm: float, over_start_mm: float, over_end_mm: float) -> str:
    """A doubtful rim of a spot over the limit: closing that spot closes it too, and no gauge settles more."""
    over = place_in_words(over_start_mm, over_end_mm)
    return (
        f"goes with the re-fixture beside it ({over}): {place_in_words(start_mm, end_mm)}; no gauge is needed"
    )


def unseen_advice(
    start_mm: float, end_mm: float, reason: str, like: tuple[float, float] | None = None, cause: str = ""
) -> str:
    """Where nothing was measured and what to do.

    `like` is an earlier place with the same reason, `cause` the measured cause with its remedy, if any.
    """
    place = place_in_words(start_mm, end_mm)
    if like is not None:
        return f"do as at {_from_to(*like)}: {place}" + (f" ({reason})" if reason else "")
    if reason == "covered":
        return f"look at it: {place} is covered; if it is no tack or clamp, photograph again or gauge"
    if reason == "no photo":
        return f"photograph the stretch {place}: no photo shows it"
    remedy = cause or _REMEDIES.get(reason)
    why = f" ({reason}: {remedy})" if remedy else f" ({reason})" if reason else ""
    return f"photograph again or gauge: {place}{why}"


def short_land_advice(start_mm: float, end_mm: float, side: str, land_mm: float, sheet_mm: float) -> str:
    """Which land is short, where, and how long it is against the sheet."""
    return (
        f"look at the land {side}, {place_in_words(start_mm, end_mm)}: {max(land_mm, 0.0):.1f} mm long, "
        f"the sheet is {round(sheet_mm, 2):g} mm thick; the wire has no edge to run along there"
    )


def only_part(start_mm: float, end_mm: float) -> str:
    """What is added where only a part of the joint was asked for."""
    return f"; only {place_in_words(start_mm, end_mm)} was looked at"


def joint_sentence(
    word: VerdictWord,
    largest: tuple[float, float, float],
    limit_mm: float,
    spots: Sequence[Spot],
    seen_share: float,
) -> str:
    """The verdict in one line; `largest` is gap, its standard uncertainty and its place, all in mm."""
    gap_mm, u_mm, at_mm = largest
    decimals = _decimals(gap_mm, limit_mm)
    if math.isnan(gap_mm):
        found = "no gap could be measured"
    else:
        found = f"largest gap {_gap(gap_mm, u_mm, decimals)} at {_near(at_mm)} mm from the datum mark"
    counts = [
        f"{len(of_state)} {'spot' if len(of_state) == 1 else 'spots'} {name}"
        for state, name in (
            (StationState.OVER, "over the limit"),
            (StationState.DOUBTFUL, "doubtful"),
            (LandState.SHORT, "with a short land"),
            (StationState.UNSEEN, "unseen"),
        )
        if (of_state := [spot for spot in spots if spot.state == state])
    ]
    # Rounded down: only a joint that was seen everywhere may say so.
    seen = "all" if seen_share == 1 else f"{math.floor(100 * seen_share + _SAFETY)} %"
    limit = f"limit {limit_mm:.{decimals}f} mm"
    return "; ".join([f"{word}: {found}, {limit}", *counts, f"{seen} of the joint seen"])


def joint_advice(
    word: VerdictWord,
    spots: Sequence[Spot],
    main_reason: str,
    seen_enough: bool,
    *,
    cause: str = "",
    deciding: str = "",
) -> str:
    """What to do next.

    `main_reason` is the commonest reason for unseen stations, `cause` what was measured of its cause, with
    the remedy, and `deciding` says whether a better photo would settle what is doubtful.
    """
    if word == VerdictWord.WITHIN:
        return "the fit-up is inside the limit: nothing to correct"
    if word == VerdictWord.RETAKE and main_reason == "no photo":
        holes = [spot for spot in spots if spot.state == StationState.UNSEEN]
        longest = max(holes, key=lambda spot: spot.length_mm)
        return longest.advice + (f"; and {len(spots) - 1} more listed" if len(spots) > 1 else "")
    if word == VerdictWord.RETAKE:
        why = f" ({main_reason})" if main_reason else ""
        return (
            f"photograph the joint again{why}: {cause or _REMEDIES.get(main_reason, 'show the whole joint')}"
        )
    if word == VerdictWord.RE_FIXTURE:
        over = [spot for spot in spots if spot.state == StationState.OVER]
        widest = max(over, key=lambda spot: spot.largest_gap_mm)
        more = f", and {len(over) - 1} more listed" if len(over) > 1 else ""
        unseen = "" if seen_enough else "; too little was seen of the rest"
        return f"{widest.advice}{more}; then photograph the joint again{unseen}"
    more = f"; and {len(spots) - 1} more listed" if len(spots) > 1 else ""
    doubt = any(spot.state == StationState.DOUBTFUL for spot in spots)
    return f"{spots[0].advice}{more}" + (f"; {deciding}" if doubt and deciding else "")


def _from_to(start_mm: float, end_mm: float) -> str:
    """From-to, rounded outwards so that no part of the spot is left out; a short one is given as it is."""
    decimals = 2 if end_mm - start_mm < _SHORT_MM else 0
    scale = 10**decimals
    start = math.floor(start_mm * scale + _SAFETY) / scale
    end = math.ceil(end_mm * scale - _SAFETY) / scale
    joiner = " to " if start < 0 else "–"
    return f"{start:.{decimals}f}{joiner}{end:.{decimals}f} mm"


def _near(at_mm: float) -> str:
    return f"{round(at_mm):d}"


def _gap(gap_mm: float, u_mm: float, decimals: int) -> str:
    """Gap with its expanded uncertainty; a reading below zero is shown as the closed joint that it is."""
    return f"{max(0.0, gap_mm):.{decimals}f} ± {2 * u_mm:.{decimals}f} mm (k = 2)"


def _decimals(gap_mm: float, limit_mm: float) -> int:
    """Two decimals, three where two would show a gap beside the limit as equal to it."""
    return 3 if abs(gap_mm - limit_mm) < 0.01 else 2

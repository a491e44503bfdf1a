"""What a study of recurring spots says, in sentences: the same on the screen and in the picture."""

from __future__ import annotations

import numpy as np

from fitup.evidence.words import from_to
from fitup.study.change import Change, ChangedPlace, FoundChange
from fitup.study.recurring import Recurring
from fitup.study.recurring_spots import RecurringSpot

__all__ = ["change_title", "percent", "recurring_sentences", "share_words", "spot_words", "title_of"]

_RULE = (
    "a place recurs where more parts are open than chance and uncertainty explain; of joints without any "
    "such place at most 1 in 20 is given one"
)

_OPEN_AS_A_WHOLE = 0.2
_FEW = 20


def title_of(study: Recurring) -> str:
    """The one thing to be read first."""
    since = "" if study.change is None else f" since {study.change.day}"
    if not study.spots:
        return f"NO RECURRING SPOT{since.upper()}"
    places = ", ".join(f"{spot.at_mm:.0f}" for spot in study.spots)
    spots = "1 RECURRING SPOT" if len(study.spots) == 1 else f"{len(study.spots)} RECURRING SPOTS"
    return f"{spots}{since}: at {places} mm"


def recurring_sentences(study: Recurring) -> list[tuple[str, str]]:
    """A word and a sentence each, in the order of their weight."""
    lines = [("opens at", spot_words(spot)) for spot in study.spots]
    lines += [("before", spot_words(spot)) for spot in study.former]
    if not study.spots:
        lines.append(("opens at", _no_spot(study)))
    if study.change is not None:
        lines += [(f"change {word}", text) for word, text in _change_lines(study.change)]
    lines += [("changed", _found_words(one)) for one in study.found]
    lines += [("largest gap", _chart_words(study)), ("parts", _parts_words(study))]
    return [*lines, ("seen", _seen_words(study)), ("rule", _RULE)]


def spot_words(spot: RecurringSpot) -> str:
    """One spot in a sentence."""
    where = f"{spot.at_mm:.0f} mm ({from_to(spot.start_mm, spot.end_mm)})"
    share = share_words(spot.share, spot.low, spot.high)
    return (
        f"{where}: open in {spot.open} of {spot.seen} parts, {share}; {spot.somewhere} parts are open "
        f"somewhere in it; median gap {max(spot.median_mm, 0.0):.2f} mm"
    )


def change_title(change: Change) -> str:
    """What the change did, in a few words."""
    better = ", ".join(f"{place.at_mm:.0f}" for place in change.places if place.better)
    worse = ", ".join(f"{place.at_mm:.0f}" for place in change.places if not place.better)
    at_better, at_worse = (f" at {places} mm" if places else "" for places in (better, worse))
    return {
        "helped": f"the change of {change.day} helped{at_better}",
        "worse": f"since {change.day} it opens more{at_worse}",
        "both": f"since {change.day} it opens less{at_better}, but more{at_worse}",
        "not shown": f"no change since {change.day} is shown by these parts",
        "too few parts": f"too few parts on one side of {change.day} to tell of a change",
    }[change.word]


def share_words(share: float, low: float, high: float) -> str:
    """A share with its interval."""
    return f"{percent(share)} ({percent(low)[:-2]} to {percent(high)})"


def percent(share: float) -> str:
    """A share as whole percent."""
    return f"{100 * share:.0f} %"


def _no_spot(study: Recurring) -> str:
    share = study.map.open / np.maximum(study.map.seen, 1)
    if study.open_share > _OPEN_AS_A_WHOLE:
        return (
            f"no place more than others, but the joint as a whole: {percent(study.open_share)} of all that "
            f"was seen is open, and up to {percent(float(share.max()))} of the parts at one position"
        )
    few = "; so few parts show only what nearly all of them share" if len(study.parts) < _FEW else ""
    return f"no place again and again; {100 * study.open_share:.1f} % of all that was seen is open{few}"


def _change_lines(change: Change) -> list[tuple[str, str]]:
    sides = f"{change.parts_before} parts before, {change.parts_after} from that day on"
    lines = [("", f"{change_title(change)} ({sides})")]
    lines += [("at", _place_words(place)) for place in change.places]
    if change.largest is not None:
        largest = change.largest
        medians = f"{change.median_before_mm:.2f} mm before, {change.median_after_mm:.2f} mm after"
        share = share_words(largest.share, largest.low, largest.high)
        told = "changed" if change.largest_changed else "no change shown"
        text = (
            f"largest gap of a part: median {medians}; of a part before and one after, the later has the "
            f"smaller one in {share}: {told} ({_chance(largest.probability)})"
        )
        lines.append(("all", text))
    return lines


def _place_words(place: ChangedPlace) -> str:
    way = "opens less often" if place.better else "opens MORE often"
    before = share_words(place.open_before / max(1, place.seen_before), *place.before)
    after = share_words(place.open_after / max(1, place.seen_after), *place.after)
    return (
        f"{from_to(place.start_mm, place.end_mm)} {way}: in {place.open_before} of {place.seen_before} parts "
        f"before, {before}, in {place.open_after} of {place.seen_after} after, {after}; "
        f"{_chance(place.probability)}"
    )


def _found_words(one: FoundChange) -> str:
    where = f"at {one.where}" if one.where else "over the whole joint"
    way = "smaller" if one.median_after_mm < one.median_before_mm else "larger"
    return (
        f"{where} the largest gap is {way} since about {one.day} (entry {one.number}): median "
        f"{one.median_before_mm:.2f} mm in {one.parts_before} parts before, {one.median_after_mm:.2f} mm in "
        f"{one.parts_after} after; {_chance(one.probability)}. Whether something was done then, the log says"
    )


def _chance(probability: float) -> str:
    if probability >= 0.9995:
        return "as by chance"
    shown = f"{probability:.1e}" if probability < 0.0005 else f"{probability:.3f}"
    return f"probability by chance {shown}"


def _chart_words(study: Recurring) -> str:
    gaps = study.largest.gap_mm[study.largest.counts]
    median = f"median {np.median(gaps):.2f} mm; " if len(gaps) else ""
    charted = [phase for phase in study.phases if np.isfinite(phase.chart.upper_mm)]
    if not charted:
        return f"{median}fewer than 20 parts seen well enough for a control chart"
    beyond = sum(int(phase.chart.beyond.sum()) for phase in charted)
    runs = sum(int(phase.chart.in_a_row.sum()) for phase in charted)
    limits = "; ".join(f"{phase.chart.lower_mm:.2f} to {phase.chart.upper_mm:.2f} mm" for phase in charted)
    return (
        f"{median}control chart {limits}: {beyond} beyond (by chance about 1 of 370), {runs} in runs of nine "
        "on one side (a run by chance about once in 500)"
    )


def _parts_words(study: Recurring) -> str:
    parts = study.parts
    days = f"{parts.day[0]} to {parts.day[-1]}"
    counted = "1 part" if len(parts) == 1 else f"{len(parts)} parts"
    text = f"{counted}, {days}, all judged by {study.limit_mm:.2f} mm"
    if study.other_limits_mm:
        others = ", ".join(f"{one:.2f}" for one in study.other_limits_mm[:4])
        text += f" (records also had {others} mm)"
    if parts.left_out:
        text += "; left out: " + ", ".join(f"{count} {reason}" for reason, count in parts.left_out.items())
    if parts.without_serial:
        text += f"; {parts.without_serial} without serial number count as a part each"
    return text


def _seen_words(study: Recurring) -> str:
    seen, usual = study.map.seen, 2 * study.map.seen >= len(study.parts)
    if not usual.any():
        return "no position was seen of half of the parts"
    at = study.map.position_mm[usual]
    few = int(np.sum(~study.largest.counts))
    of_few = "1 part" if few == 1 else f"{few} parts"
    left = f"; of {of_few} too little was seen for the chart" if few else ""
    where = from_to(float(at[0]), float(at[-1]))
    return (
        f"{where}, each position in {seen[usual].min()} to {seen[usual].max()} parts; what was not seen of a "
        f"part counts nowhere{left}"
    )

"""What the pages show, gathered: plain data for the templates, who make words of it."""

from __future__ import annotations

from typing import Any

from fitup.errors import FitupError
from fitup.evidence.archive.laying_out import laid_out
from fitup.evidence.comparison_building import compare_records
from fitup.evidence.judged_record import read_judged
from fitup.evidence.settlement_building import holding
from fitup.evidence.settlement_file import Settlements, read_settlements
from fitup.evidence.subject import Filing
from fitup.job import JobJoint
from fitup.phone.joint_state import JointResult
from fitup.phone.people import Person, may_see
from fitup.phone.phone_settings import ServedJob
from fitup.phone.shop import Shop
from fitup.phone.shot_answers import shot_json

__all__ = ["comparison_of", "joint_page", "outcomes_of", "settled_of", "settlement_lines"]


def joint_page(shop: Shop, person: Person, served: ServedJob, joint: JobJoint) -> dict[str, Any]:
    """The page of a joint: photos on their way, the result in force, what was said of it, earlier ones."""
    results = shop.board.results(served, joint)
    newest = results[0] if results else None
    settlements = None if newest is None else shop.result(newest.number, len(newest.later))
    earlier = [one for one in results[1:] if may_see(person, taken_by=one.about.who, current=False)]
    return {
        "shots": shots_here(shop, person, served, joint),
        "newer": _newer_photo(shop, person, served, joint),
        "entry": None if newest is None else newest.number,
        "record": None if settlements is None else settlements.judged.record,
        "settled": None if settlements is None else settled_of(settlements),
        "settlements": [] if settlements is None else settlement_lines(settlements),
        "outcomes": [] if newest is None else outcomes_of(newest),
        "history": [one.summary() for one in earlier],
        "comparison": _compared(shop, results, earlier),
    }


def shots_here(shop: Shop, person: Person, served: ServedJob, joint: JobJoint) -> list[dict[str, Any]]:
    """Photos of a joint that this phone has sent and that gave no result yet, the newest first."""
    sent = shop.store.of_phone(person.phone_id)
    return [
        shot_json(shop, one)
        for one in sent
        if (one.job, one.joint) == (served.name, joint.name) and one.entry is None
    ]


def _newer_photo(shop: Shop, person: Person, served: ServedJob, joint: JobJoint) -> dict[str, Any] | None:
    """A photo of somebody else's that is newer than the result in force and gave none (yet).

    Whoever scans the label must know of it: the joint may have been moved since.
    """
    latest = shop.store.latest_of(served.name, joint.name)
    if latest is None or latest.entry is not None or shop.store.was_sent_by(latest, person.phone_id):
        return None
    return {"failed": not latest.is_open, "who": latest.who, "when": latest.received_at_utc}


def settled_of(settlements: Settlements) -> Any:
    """The verdict after feeler readings; None where there are none."""
    return settlements.verdict if settlements.records else None


def settlement_lines(settlements: Settlements) -> list[dict[str, Any]]:
    """Every reading, the newest first, and whether it was withdrawn."""
    hold = {one.number for one in holding(settlements.records)}
    return [
        {
            "number": one.number,
            "who": one.who,
            "when": one.filed_at_utc.isoformat(timespec="seconds"),
            "as_written": one.reading.as_written,
            "blades_mm": list(one.reading.blades_mm),
            "goes_in": one.reading.goes_in,
            "start_mm": one.reading.start_mm,
            "end_mm": one.reading.end_mm,
            "flat": one.reading.flat,
            "remark": one.reading.remark,
            "withdrawn": one.number not in hold,
        }
        for one in reversed(settlements.records)
        if one.reading is not None
    ]


def outcomes_of(result: JointResult) -> list[dict[str, Any]]:
    """What was said of the weld, the newest first."""
    return [
        {
            "entry": one.entry.number,
            "word": one.entry.outcome.word,
            "bead_colour": one.entry.outcome.bead_colour,
            "penetration": one.entry.outcome.penetration,
            "note": one.entry.note,
            "who": one.entry.about.who,
            "day": one.entry.about.day,
            "photos": sum(file.role == "photo" for file in one.entry.files),
        }
        for one in reversed(result.later)
        if one.entry.outcome is not None
    ]


def _compared(shop: Shop, results: list[JointResult], earlier: list[JointResult]) -> dict[str, Any] | None:
    """The result in force beside the one before it, where this person may see that."""
    if len(results) < 2 or not earlier or earlier[0] is not results[1]:
        return None
    key = tuple((one.number, len(one.later)) for one in (results[1], results[0]))
    return shop.comparisons.get(key, lambda: comparison_of(shop, results[1].number, results[0].number))


def comparison_of(shop: Shop, before: int, after: int) -> dict[str, Any] | None:
    """Two results of one joint beside each other; None where they cannot be compared."""
    try:
        with (
            laid_out(shop.archive, before, ("record",)) as (_, first),
            laid_out(shop.archive, after, ("record",)) as (_, second),
        ):
            both = [read_settlements(read_judged(str(folder))) for folder in (first, second)]
            record = compare_records(*both, filing=Filing()).record
    except FitupError:  # another limit, another kind: they say nothing about each other
        return None
    then, now = (one.judged.record.verdict for one in both)
    return {
        "before_entry": before,
        "after_entry": after,
        "word_before": record.before.word,
        "word_after": record.after.word,
        "largest_before_mm": then.largest_gap_mm,
        "largest_after_mm": now.largest_gap_mm,
        "u_largest_before_mm": then.u_largest_gap_mm,
        "u_largest_after_mm": now.u_largest_gap_mm,
        "sentence": record.sentence,
        "spots": [
            {"outcome": one.fate, "state": one.state, "start_mm": one.start_mm, "end_mm": one.end_mm}
            for one in record.spots
        ],
    }

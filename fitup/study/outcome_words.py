"""What a study of outcomes says, in sentences: the same on the screen and in the picture."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

from fitup.study.outcome import OutcomeStudy
from fitup.study.recurring_words import share_words

__all__ = ["NO_RULE", "answer_words", "counted_words", "left_out_words", "outcome_sentences", "subject_words"]

NO_RULE = (
    "this changes no rule: the procedure, the shop's rules and who answers for them decide what is welded; "
    "with another sheet, feed or travel it may be otherwise"
)


def subject_words(study: OutcomeStudy) -> str:
    """Wire and joint kind."""
    wire = "no wire" if study.wire_um == 0 else f"wire {study.wire_um / 1000:g} mm"
    return f"{wire}, {study.joint_kind}"


def answer_words(study: OutcomeStudy) -> str:
    """The gap, or why there is none."""
    if study.reason or study.interval is None:
        return study.reason
    low, high = max(0.0, study.interval.low_mm), study.interval.high_mm
    return f"at a gap of {study.gap_mm:.2f} mm ({low:.2f} to {high:.2f} mm) 95 % of welds are sound"


def counted_words(study: OutcomeStudy) -> str:
    """How many welds, and of which outcomes."""
    counts = Counter(weld.word for weld in study.welds)
    told = ", ".join(f"{counts[word]} {word}" for word in ("sound", "repaired", "scrapped") if counts[word])
    gaps = [weld.gap_mm for weld in study.welds]
    welds = "1 weld" if len(gaps) == 1 else f"{len(gaps)} welds"
    return f"{welds} with gaps of {min(gaps):.2f} to {max(gaps):.2f} mm: {told}"


def outcome_sentences(study: OutcomeStudy) -> list[tuple[str, str]]:
    """A word and a sentence each."""
    lines = [("", answer_words(study)), ("welds", counted_words(study))]
    if study.at_limit is not None:
        at = study.at_limit
        share = share_words(at.chance, at.low, at.high)
        text = f"at a gap of {at.limit_mm:.2f} mm, which most of the records had as limit, {share} are sound"
        lines.append(("at limit", text))
    if study.model is not None and study.model.separated:
        text = "no gap is shared by sound and other welds: where between them the change lies is not known"
        lines.append(("note", text))
    return lines


def left_out_words(left_out: Mapping[str, int]) -> str:
    """What does not count, by reason."""
    return ", ".join(f"{count} {reason}" for reason, count in left_out.items())

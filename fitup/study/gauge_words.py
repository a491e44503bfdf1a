"""What a gauge study means, in plain words: whether the instrument suits this limit, and what is to blame.

Bounds by common practice (AIAG MSA reference manual): up to 10 % of the tolerance suitable, up to 30 % usable
with care, five distinct categories. The shop decides.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from fitup.study.crossed import Component, CrossedStudy

__all__ = ["GOOD_SHARE", "LEAST_CATEGORIES", "USABLE_SHARE", "StudyVerdict", "percent", "verdict_on"]

GOOD_SHARE, USABLE_SHARE = 0.10, 0.30
LEAST_CATEGORIES = 5
_FEW_PARTS, _FEW_PERSONS, _FEW_REPEATS = 5, 3, 2
_BLAME = {
    "repeatability": "repeatability: the same person does not get the same reading of the same part twice",
    "person": "the persons or phones: they read differently throughout",
    "part × person": "persons or phones who differ from part to part",
}
_REMEDY = {
    "repeatability": "look at light, distance, focus and where the strip lies, and at the record's budget",
    "person": "compare how they work, their prints and lens profiles; fitup study bias tells who is off",
    "part × person": "look at the parts on which they differ most in the plot",
}


@dataclass(frozen=True, kw_only=True)
class StudyVerdict:
    """The verdict on the instrument."""

    word: str
    """suitable, limited, unsuitable, or unproven."""
    sentence: str
    blame: str
    """The component of GRR that weighs most: repeatability, person or part × person; "" where GRR is zero."""
    blame_share: float
    """Its share of the variance of GRR."""
    advice: str
    sure: str
    """How sure the numbers are."""
    pooling: str
    """Whether the interaction was pooled, and why."""
    cautions: tuple[str, ...]


def verdict_on(study: CrossedStudy) -> StudyVerdict:
    """Put a study into words."""
    word = _word(study)
    blame = max((study.repeatability, study.person, study.interaction), key=lambda one: one.variance_mm2)
    exact = study.grr.variance_mm2 == 0
    share = 0.0 if exact else blame.variance_mm2 / study.grr.variance_mm2
    return StudyVerdict(
        word=word,
        sentence=_sentence(study, word),
        blame="" if exact else blame.name,
        blame_share=share,
        advice=_advice(word, blame, share, study),
        sure=_sure(study),
        pooling=_pooling(study),
        cautions=_cautions(study),
    )


def percent(share: float) -> str:
    """A share as words, such as "7.8 %"."""
    return f"{100 * share:.1f} %" if share < 9.995 else "over 999 %"


def _word(study: CrossedStudy) -> str:
    share = study.grr.share_of_tolerance
    if study.unproven:
        return "unproven"
    if share > USABLE_SHARE:
        return "unsuitable"
    return "suitable" if share <= GOOD_SHARE and study.ndc >= LEAST_CATEGORIES else "limited"


def _sentence(study: CrossedStudy, word: str) -> str:
    share = percent(study.grr.share_of_tolerance)
    limit = f"a limit of {study.limit_mm:.3g} mm"
    if word == "unproven":
        return f"Unproven: every repeat gave the same number, so that repeatability at {limit} is not known."
    said = word.capitalize()
    if word == "suitable" and 6.0 * study.grr.high_mm / study.limit_mm > GOOD_SHARE:
        said = "Suitable by these readings, not proven"  # the interval reaches beyond what is suitable
    return f"{said}: measuring takes {share} of {limit}; distinct categories {study.ndc}."


def _advice(word: str, blame: Component, share: float, study: CrossedStudy) -> str:
    if word == "unproven":
        return (
            "The readings are rounded too coarsely, or were copied: take them again with all their digits, "
            "photo and strip laid anew each time."
        )
    told = f"Most of it ({percent(share)} of the variance of GRR) is {_BLAME[blame.name]}"
    if word == "suitable":
        return f"Up to 10 % of the limit and from 5 categories are good. {told}."
    if study.grr.share_of_tolerance <= GOOD_SHARE:
        return (
            "The share of the limit is good, but 5 categories are wanted: the parts of this study differ too "
            f"little from each other; choose some from tight to wide open, as they occur. {told}."
        )
    bounds = "Over 30 % is too much to judge" if word == "unsuitable" else "10 to 30 % is usable with care"
    return f"{bounds} against this limit. {told}: {_REMEDY[blame.name]}."


def _sure(study: CrossedStudy) -> str:
    if study.unproven:
        return "No share of the limit and no number of categories can be told from such readings."
    low, high = (6.0 * one / study.limit_mm for one in (study.grr.low_mm, study.grr.high_mm))
    sure = f"{100 * study.confidence:.3g} %"
    text = f"With {sure} confidence the share of the limit lies between {percent(low)} and {percent(high)}"
    few, many = study.ndc_interval
    top = f"{many:.1f}" if many < 1000 else "over 999"
    text += f", and 1.41 PV/GRR between {few:.1f} and {top}."
    if low <= GOOD_SHARE < high or low <= USABLE_SHARE < high:
        text += " A bound of the verdict lies inside: more persons, parts or repeats would tell more."
    return text


def _pooling(study: CrossedStudy) -> str:
    p, f = study.p_interaction, study.f_interaction
    shown = "infinite" if math.isinf(f) else f"{f:.3f}"
    told = f"Part × person has F {shown}, p {p:.3f}"
    if study.pooled:
        return f"{told}: over {study.alpha:g}, so it was pooled with repeatability."
    return f"{told}: not over {study.alpha:g}, so it was kept, within reproducibility."


def _cautions(study: CrossedStudy) -> tuple[str, ...]:
    parts, persons, _ = study.cross.value_mm.shape
    found = []
    zeros = [one.name for one in study.components if one.set_to_zero]
    if zeros:
        found.append(
            f"The estimate for {' and '.join(zeros)} was negative and was set to zero; the intervals say "
            "what it may be."
        )
    if persons < _FEW_PERSONS:
        found.append(f"{persons} persons or phones say little about how persons differ: three or more do.")
    if parts < _FEW_PARTS:
        found.append(f"{parts} parts say little about how parts differ: ten are usual.")
    if study.cross.value_mm.min() < 0:
        found.append("Some readings are negative, which no gap is: are they deviations?")
    return tuple(found)

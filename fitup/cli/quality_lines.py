"""A photo's quality as lines of the terminal: one for a good photo, the whole list when it is asked for."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fitup.evidence.quality_entry import FactorEntry, QualityEntry

__all__ = ["quality_lines", "told_by_quality"]

_SHORT = ("sampling", "sharpness", "slant")  # what a good photo is described by
_WORST_FIRST = ("poor", "fair", "good")
_LEAST_FALL = 0.05  # of the uncertainty, from which numbers are given


def quality_lines(
    quality: QualityEntry | None, *, seen_enough: bool = True, full: bool = False
) -> list[tuple[str, str]]:
    """Lines as (word, text); none where a record has no quality."""
    if quality is None:
        return []
    lines = [("photo", _photo(quality, seen_enough))]
    if quality.next_photo:
        lines.append(("next photo", "; ".join(_with_numbers(quality, one) for one in quality.next_photo)))
    if full:
        lines += [(factor.name, _factor(factor)) for factor in quality.factors]
        rest = [one.remedy for one in quality.advice if one.remedy not in quality.next_photo]
        lines += [("would help", _with_numbers(quality, remedy)) for remedy in rest]
    return lines


def told_by_quality(note: str, quality: QualityEntry | None) -> bool:
    """Whether a note on the photo's blur is said by the quality too, which knows defocus from motion."""
    return quality is not None and quality.state != "good" and note.startswith("The photo is blurred")


def _photo(quality: QualityEntry, seen_enough: bool) -> str:
    if quality.state == "good":
        named = {factor.name: factor.words for factor in quality.factors}
        # Where the joint was not seen all the same, a photo is not praised.
        word = "good for this limit" if seen_enough else "nothing found wrong with it"
        return f"{word}: {', '.join(named[name] for name in _SHORT if name in named)}"
    return "; ".join(
        f"{state}: {', '.join(words)}"
        for state in _WORST_FIRST[:2]
        if (words := [factor.words for factor in quality.factors if factor.state == state])
    )


def _with_numbers(quality: QualityEntry, remedy: str) -> str:
    """A remedy, and what the gap's uncertainty would be if what it works on were halved."""
    after = next((one.u_after_mm for one in quality.advice if one.remedy == remedy), None)
    now = None if quality.decisive is None else quality.decisive.u_gap_mm
    if after is None or now is None or after > (1 - _LEAST_FALL) * now:
        return remedy
    return f"{remedy} (± {2 * after:.3f} instead of {2 * now:.3f} mm)"


def _factor(factor: FactorEntry) -> str:
    if factor.value is None:
        return "not known"
    word = "at least" if factor.unit == "px/mm" or factor.name == "target seen" else "up to"
    needed = "" if factor.needed is None else f", {word} {_short(factor.needed)} suffices"
    return f"{factor.state}: {_short(factor.value)} {factor.unit}{needed}"


def _short(value: float) -> str:
    return f"{value:.0f}" if value >= 20 else f"{value:.1f}"

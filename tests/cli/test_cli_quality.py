"""The lines on a photo's quality: one for a good photo, causes and remedies for others, all on demand."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from fitup.cli.quality_lines import quality_lines, told_by_quality
from fitup.evidence.quality_entry import AdviceEntry, DecisiveEntry, FactorEntry, QualityEntry


def factor(name: str, state: str, words: str, remedy: str = "") -> FactorEntry:
    return FactorEntry(name=name, state=state, value=8.0, unit="px", needed=2.0, words=words, remedy=remedy)


def quality(state: str, *factors: FactorEntry, next_photo: tuple[str, ...] = ()) -> QualityEntry:
    return QualityEntry(
        state=state,
        factors=factors,
        decisive=DecisiveEntry(station_mm=12.0, gap_mm=0.85, u_gap_mm=0.06, u_allowed_mm=0.03),
        advice=(
            AdviceEntry(remedy="come to about 18 cm", influences=("tone curve",), u_after_mm=0.04),
            AdviceEntry(remedy="check the print", influences=("scale: print",), u_after_mm=0.0595),
        ),
        next_photo=next_photo,
    )


SHARP = factor("sharpness", "good", "blurred by 1.1 px")
SHAKEN = factor("motion", "poor", "shaken by 8 px along the joint", "rest the phone on something")


def test_a_good_photo_takes_one_line() -> None:
    lines = quality_lines(quality("good", SHARP))
    assert lines == [("photo", "good for this limit: blurred by 1.1 px")]
    assert quality_lines(None) == []
    retake = quality_lines(quality("good", SHARP), seen_enough=False)
    assert retake == [("photo", "nothing found wrong with it: blurred by 1.1 px")]


def test_what_is_not_good_is_told_worst_first_with_what_it_would_bring() -> None:
    far = factor("sampling", "fair", "8.0 px/mm at the joint, 12 needed", "come to about 18 cm")
    told = quality("poor", far, SHARP, SHAKEN, next_photo=(SHAKEN.remedy, far.remedy, "check the print"))
    assert quality_lines(told) == [
        ("photo", "poor: shaken by 8 px along the joint; fair: 8.0 px/mm at the joint, 12 needed"),
        (
            "next photo",
            "rest the phone on something; come to about 18 cm (± 0.080 instead of 0.120 mm); check the print",
        ),
    ]


def test_on_demand_all_factors_and_all_advice_are_told() -> None:
    lines = quality_lines(quality("good", SHARP, SHAKEN), full=True)
    assert ("sharpness", "good: 8.0 px, up to 2.0 suffices") in lines
    assert [text for word, text in lines if word == "would help"] == [
        "come to about 18 cm (± 0.080 instead of 0.120 mm)",
        "check the print",
    ]


@pytest.mark.parametrize(("state", "told"), [("good", False), ("poor", True)])
def test_a_blurred_photo_is_told_once(state: str, told: bool) -> None:
    note = "The photo is blurred: tap the joint, wait until it is sharp, and hold still."
    assert told_by_quality(note, quality(state, SHARP)) is told
    assert not told_by_quality("Another note.", quality("poor", SHARP))


def test_the_record_tells_all_the_screen_a_line(fitup: Callable[..., tuple[int, str, str]]) -> None:
    photo = Path(__file__).parents[2] / "demo_images" / "01_good_fit.jpg"
    code, out, _ = fitup("inspect", photo, "--wire", "0.9mm", "--sheet", "1.5mm", "--out", "q")
    assert code == 0
    assert "photo        good for this limit" in out
    assert "sharpness" not in out
    code, shown, _ = fitup("record", "show", "q/01_good_fit")
    assert "sharpness    good:" in shown
    assert all(len(line) <= 100 for line in shown.splitlines())

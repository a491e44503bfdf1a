"""`fitup target`: every form drawn, print checks with thickness, what a user may get wrong."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from fitup.scale import load_print_record
from fitup.scale.forms import PRINT_FORMS

Run = Callable[..., tuple[int, str, str]]
READINGS = ("--along", "140.12mm", "--across", "139.95mm", "--instrument", "caliper 12")


@pytest.mark.parametrize("form", PRINT_FORMS)
def test_every_form_is_drawn_and_named_in_the_help(fitup: Run, tmp_path: Path, form: str) -> None:
    code, out, err = fitup("target", "draw", "--form", form, "--out", "t.svg", "--paper", "Letter")
    assert (code, err) == (0, "")
    assert out.startswith(f"t.svg: {form} number")
    assert (tmp_path / "t.svg").stat().st_size > 10_000
    assert form in " ".join(fitup("target", "draw", "--help")[1].split())


def test_corner_sheet_names_both_strips(fitup: Run) -> None:
    out = fitup("target", "draw", "--form", "corner-8x5", "--strip", "7", "--out", "c.pdf")[1]
    assert "numbers 7 and 8" in out


def test_thickness_goes_into_the_check_with_a_sensible_uncertainty(fitup: Run, tmp_path: Path) -> None:
    assert fitup("target", "check", *READINGS, "--out", "p.json")[0] == 0
    assert load_print_record(tmp_path / "p.json").thickness_mm is None
    code, out, _ = fitup("target", "check", *READINGS, "--thickness", "0.85mm", "--out", "m.json")
    assert (code, "0.85 mm thick" in out) == (0, True)
    magnet = load_print_record(tmp_path / "m.json")
    assert magnet.thickness_mm == 0.85
    assert magnet.u_thickness_mm == pytest.approx((0.02**2 + 0.03**2) ** 0.5, abs=1e-4)
    own = ("--thickness", "0.85mm", "--u-thickness", "0.05mm")
    fitup("target", "check", *READINGS, *own, "--out", "n.json")
    assert load_print_record(tmp_path / "n.json").u_thickness_mm == 0.05


def test_two_checks_of_one_day_have_numbers_of_their_own(fitup: Run, tmp_path: Path) -> None:
    for name in ("a.json", "b.json"):
        assert fitup("target", "check", *READINGS, "--date", "2026-02-01", "--out", name)[0] == 0
    first, second = (load_print_record(tmp_path / name).number for name in ("a.json", "b.json"))
    assert first != second
    assert first.startswith("P-2026-02-01-")


def test_existing_check_is_not_written_over(fitup: Run, tmp_path: Path) -> None:
    assert fitup("target", "check", *READINGS, "--out", "p.json")[0] == 0
    before = (tmp_path / "p.json").read_bytes()
    code, out, err = fitup("target", "check", *READINGS, "--out", "p.json")
    assert (code, out) == (2, "")
    assert "name another file" in err
    assert (tmp_path / "p.json").read_bytes() == before


def test_cut_strip_is_checked_by_its_own_lengths(fitup: Run, tmp_path: Path) -> None:
    readings = ("--along", "140.1", "--across", "35.03", "--drawn-across", "35mm", "--instrument", "c")
    assert fitup("target", "check", *readings, "--out", "p.json")[0] == 0
    record = load_print_record(tmp_path / "p.json")
    assert record.across_factor == pytest.approx(35.03 / 35)
    # The shorter distance decides how well the factors are known: 0.054 mm of 35 mm.
    assert record.u_relative == pytest.approx(0.0539 / 35.03, rel=0.01)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--u-thickness", "0.05mm"), "give --thickness too"),
        (("--thickness", "25mm"), "between 0 and 20 mm"),
        (("--thickness", "thick"), "cannot be read"),
        (("--thickness", ".035"), "inches or millimetres"),
        (("--thickness", "0.85mm", "--u-thickness", "1mm"), "uncertainty of the thickness"),
        (("--drawn-along", "nothing"), "cannot be read"),
        (("--drawn-across", "35mm"), "looks like inches|% off"),
    ],
)
def test_wrong_readings_are_one_sentence_and_leave_nothing(
    fitup: Run, tmp_path: Path, options: tuple[str, ...], words: str
) -> None:
    code, out, err = fitup("target", "check", *READINGS, *options, "--out", "p.json")
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert any(word in err for word in words.split("|"))
    assert list(tmp_path.iterdir()) == []


def test_inspecting_takes_the_thickness_from_the_check_and_repeats_it(fitup: Run, drawn: Any) -> None:
    photo = drawn("opening").path
    assert fitup("target", "check", *READINGS, "--thickness", "0.85mm", "--out", "p.json")[0] == 0

    def measured(*options: str) -> Any:
        out = fitup("inspect", photo, "--wire", "0.9mm", *options, "--out", "o", "--json")[1]
        return json.loads(out)["record"]["scale"]

    checked = measured("--print-record", "p.json")
    assert checked["target_thickness_mm"] == 0.85
    assert checked["print_check"]["thickness_mm"] == 0.85
    code, out, err = fitup("record", "repeat", "o/opening", photo)
    assert (code, err, "bit for bit" in out) == (0, "", True)
    assert measured("--print-record", "p.json", "--thickness", "0.2mm")["target_thickness_mm"] == 0.2
    assert measured()["target_thickness_mm"] == 0.1

"""An accepted correction: what it does to a profile, where it may not, and that a record can be repeated."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitup.errors import UsageError
from fitup.evidence import Filing, build_record
from fitup.inspection import inspect
from fitup.profile.correcting import CORRECTION, with_correction
from fitup.repeating import differing, settings_of
from fitup.scale import GapCorrection, PrintRecord, load_print_record, save_print_record
from fitup.scale.gap_correction import correction_from
from tests.conftest import Drawn
from tests.evidence.builders import make_profile

FIX = GapCorrection(
    intercept_mm=0.016,
    slope=1.013,
    u_intercept_mm=0.003,
    u_slope=0.004,
    covariance_mm=-1e-5,
    low_mm=0.1,
    high_mm=1.2,
    accepted_by="Petra Lund",
    accepted_on="2026-05-11",
    method="least squares",
    references="blades B-3",
    readings_sha256="0" * 64,
)
RECORD = PrintRecord(
    number="P-1", date="2026-05-04", instrument="C-7", u_instrument_mm=0.02, along_mm=140.1, across_mm=139.9
)


@given(st.floats(0.1, 1.2))
def test_the_gap_comes_back_within_the_references(gap_mm: float) -> None:
    reading = np.array([FIX.intercept_mm + FIX.slope * gap_mm])
    assert FIX.gap_mm(reading)[0] == pytest.approx(gap_mm)
    u2 = 0.003**2 - 2e-5 * gap_mm + (0.004 * gap_mm) ** 2
    assert FIX.u_mm(reading)[0] == pytest.approx(math.sqrt(u2) / 1.013)


@given(st.floats(-0.1, 5.0), st.floats(-0.1, 5.0))
def test_order_is_kept_and_beyond_the_references_the_shift_stays(one: float, other: float) -> None:
    low, high = sorted((one, other))
    gaps = FIX.gap_mm(np.array([low, high]))
    assert gaps[0] <= gaps[1] + 1e-12
    shift_end = FIX.intercept_mm + 0.013 * 1.2
    assert FIX.gap_mm(np.array([3.0]))[0] == pytest.approx(3.0 - shift_end)
    assert FIX.beyond(np.array([3.0]))
    assert not FIX.beyond(np.array([0.5, np.nan]))


@pytest.mark.parametrize(
    "change",
    [
        {"slope": 0.5},
        {"slope": math.nan},
        {"intercept_mm": 0.9},
        {"intercept_mm": "0.1"},
        {"u_slope": -0.1},
        {"covariance_mm": 1.0},
        {"low_mm": 2.0},
        {"low_mm": -0.1},
        {"accepted_by": ""},
        {"accepted_by": "two\nlines"},
        {"accepted_by": 7},
        {"accepted_on": "yesterday"},
        {"accepted_on": "2026-02-30"},
        {"readings_sha256": "beef"},
        {"phone": "x" * 201},
        {"high_mm": True},
    ],
)
def test_corrections_that_cannot_be(change: dict) -> None:
    with pytest.raises(UsageError):
        replace(FIX, **change)


def test_profile_after_a_correction() -> None:
    plain = make_profile()
    fixed = with_correction(plain, FIX, "Nordlicht N1")
    seen = plain.seen
    assert np.array_equal(fixed.seen, seen)
    assert fixed.gap_mm[seen] == pytest.approx(FIX.gap_mm(plain.gap_mm[seen]))
    assert np.array_equal(fixed.near_px, plain.near_px, equal_nan=True)
    (row,) = [row for row in fixed.budget if row.name == CORRECTION]
    assert row.common
    total = np.sqrt(np.sum([one.u_mm**2 for one in fixed.budget], axis=0))
    assert fixed.u_gap_mm[seen] == pytest.approx(total[seen])
    assert "accepted by Petra Lund on 2026-05-11" in fixed.notes[-1]
    assert "beyond these references" in fixed.notes[-1]  # the profile's largest gap is 1.3 mm


def test_a_correction_for_another_phone_is_left_out_and_told() -> None:
    plain, mine = make_profile(), replace(FIX, phone="Nordlicht N2")
    assert with_correction(plain, None, "") is plain
    for phone in ("Nordlicht N1", ""):
        other = with_correction(plain, mine, phone)
        assert np.array_equal(other.gap_mm, plain.gap_mm, equal_nan=True)
        assert "not applied" in other.notes[-1]
    assert not np.array_equal(with_correction(plain, mine, "nordlicht  N2").gap_mm, plain.gap_mm)


def test_record_file_with_a_correction(tmp_path: Path) -> None:
    path = tmp_path / "print.json"
    save_print_record(replace(RECORD, correction=FIX), path)
    assert load_print_record(path).correction == FIX
    data = json.loads(path.read_text(encoding="utf-8"))
    for damage in ({"slope": "steep"}, {"colour": "red"}):
        path.write_text(json.dumps(data | {"correction": data["correction"] | damage}), encoding="utf-8")
        with pytest.raises(UsageError, match="correction"):
            load_print_record(path)
    for broken in ([], "no", {}):
        path.write_text(json.dumps(data | {"correction": broken}), encoding="utf-8")
        with pytest.raises(UsageError, match="wrong entries"):
            load_print_record(path)
    with pytest.raises(UsageError, match="wrong entries"):
        correction_from({"slope": 1.0})


def test_inspect_applies_it_and_the_record_repeats_it(drawn: Callable[[str], Drawn]) -> None:
    scene = drawn("opening")
    asked = replace(scene.inspection.settings, print_record=RECORD)
    plain = inspect(scene.path, asked)
    fixed = inspect(scene.path, replace(asked, print_record=replace(RECORD, correction=FIX)))
    seen = plain.profile.seen
    assert fixed.profile.gap_mm[seen] == pytest.approx(FIX.gap_mm(plain.profile.gap_mm[seen]))
    assert fixed.verdict.largest_gap_mm == pytest.approx(np.nanmax(fixed.profile.gap_mm))
    record = build_record(fixed, Filing())
    assert record.scale.print_check is not None
    assert record.scale.print_check.correction is not None
    assert record.scale.print_check.correction.accepted_by == "Petra Lund"
    assert any("The gap was corrected" in note for note in record.profile.notes)
    again = build_record(inspect(scene.path, settings_of(record)), Filing())
    assert differing(record, again) == []

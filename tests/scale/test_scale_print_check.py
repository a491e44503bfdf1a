"""Print records: factors, uncertainty, refusals, files."""

from __future__ import annotations

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitup.errors import StorageError, UsageError
from fitup.scale import PrintRecord, load_print_record, save_print_record

GOOD = {
    "number": "P-7", "date": "2026-03-31", "instrument": "caliper C12", "u_instrument_mm": 0.02,
    "along_mm": 140.42, "across_mm": 139.79,
}  # fmt: skip


def test_factors_are_printed_over_drawn_length():
    record = PrintRecord(**GOOD)
    assert record.along_factor == pytest.approx(1.003)
    assert record.across_factor == pytest.approx(0.9985)


def test_uncertainty_is_caliper_and_aiming_over_the_shorter_distance():
    assert PrintRecord(**GOOD).u_relative == pytest.approx(math.hypot(0.02, 0.05) / 139.79)


@given(
    along=st.floats(133.1, 146.9), across=st.floats(133.1, 146.9), u=st.floats(1e-4, 1.0),
    number=st.text(min_size=1).filter(str.strip), strip=st.text(),
)  # fmt: skip
def test_file_gives_back_the_very_record(tmp_path_factory, along, across, u, number, strip):
    values = GOOD | {"along_mm": along, "across_mm": across, "u_instrument_mm": u, "number": number}
    record = PrintRecord(**values, strip=strip)
    path = tmp_path_factory.mktemp("record") / "check.json"
    save_print_record(record, path)
    assert load_print_record(path) == record
    assert [item.name for item in path.parent.iterdir()] == ["check.json"]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"along_mm": 147.1}, "not printed at 100 %"),
        ({"across_mm": 132.9}, "not printed at 100 %"),
        ({"along_mm": 1400.0}, "not printed at 100 %"),
        ({"along_mm": 5.512}, "looks like inches"),
        ({"across_mm": 5.50}, "looks like inches"),
        ({"along_mm": float("nan")}, "positive length"),
        ({"across_mm": float("inf")}, "positive length"),
        ({"along_mm": -140.0}, "positive length"),
        ({"along_mm": 0}, "positive length"),
        ({"along_mm": "140"}, "positive length"),
        ({"along_mm": True}, "positive length"),
        ({"along_mm": 10**400}, "positive length"),
        ({"u_instrument_mm": 0}, "standard uncertainty"),
        ({"u_instrument_mm": -0.02}, "standard uncertainty"),
        ({"u_instrument_mm": float("nan")}, "standard uncertainty"),
        ({"u_instrument_mm": 20.0}, "standard uncertainty"),
        ({"date": "31.3.2026"}, "is no date"),
        ({"date": "2026-02-30"}, "is no date"),
        ({"date": 20260331}, "must be text"),
        ({"strip": "\ud800"}, "must be text"),  # half a surrogate pair, which no file can hold
        ({"number": " "}, "needs a number"),
        ({"instrument": ""}, "Name the caliper"),
        ({"nominal_along_mm": float("nan")}, "drawn distance"),
    ],
)
def test_readings_that_cannot_be_true_are_refused_with_a_sentence(change, words):
    with pytest.raises(UsageError, match=words):
        PrintRecord(**(GOOD | change))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no JSON"),
        ("{", "no JSON"),
        ("[" * 100_000, "no JSON"),
        ("[]", "not marked"),
        ('{"format": "something else"}', "not marked"),
        (json.dumps({"format": "fitup print check 1", **GOOD}), "missing: nominal_across_mm"),
        (json.dumps({"format": "fitup print check 1", "colour": "red"}), "unknown: colour"),
    ],
)
def test_foreign_and_damaged_files_are_refused(tmp_path, text, words):
    path = tmp_path / "check.json"
    path.write_text(text)
    with pytest.raises(UsageError, match=words):
        load_print_record(path)


def test_binary_file_is_refused(tmp_path):
    path = tmp_path / "check.json"
    path.write_bytes(b"\xff\xd8\xff\xe0\x00")
    with pytest.raises(UsageError, match="no JSON"):
        load_print_record(path)


def test_missing_file_is_refused(tmp_path):
    with pytest.raises(UsageError, match="cannot be read"):
        load_print_record(tmp_path / "nowhere.json")


def test_refused_write_leaves_nothing_behind(tmp_path):
    with pytest.raises(StorageError, match="could not be written"):
        save_print_record(PrintRecord(**GOOD), tmp_path / "no such folder" / "check.json")
    occupied = tmp_path / "check.json"
    occupied.mkdir()
    with pytest.raises(StorageError, match="could not be written"):
        save_print_record(PrintRecord(**GOOD), occupied)
    assert list(tmp_path.iterdir()) == [occupied]


def test_wrong_value_in_a_file_names_the_file(tmp_path):
    path = tmp_path / "check.json"
    save_print_record(PrintRecord(**GOOD), path)
    path.write_text(path.read_text().replace("140.42", "14.042"))
    with pytest.raises(UsageError, match=r"check\.json: The reading along"):
        load_print_record(path)

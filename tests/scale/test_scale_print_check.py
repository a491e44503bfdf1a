"""Print records: factors, uncertainty, refusals, files."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitup.errors import StorageError, UsageError
from fitup.scale import PrintRecord, find_target, load_print_record, save_print_record, scale_map
from tests.scale.drawing_world import Scene, draw, equivalent_mm, photo_of

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
        ({"thickness_mm": 0.0, "u_thickness_mm": 0.03}, "between 0 and 20 mm"),
        ({"thickness_mm": 20.1, "u_thickness_mm": 0.03}, "between 0 and 20 mm"),
        ({"thickness_mm": float("nan"), "u_thickness_mm": 0.03}, "between 0 and 20 mm"),
        ({"thickness_mm": "0.85", "u_thickness_mm": 0.03}, "between 0 and 20 mm"),
        ({"thickness_mm": 0.85}, "uncertainty of the thickness"),
        ({"thickness_mm": 0.85, "u_thickness_mm": 0}, "uncertainty of the thickness"),
        ({"thickness_mm": 0.85, "u_thickness_mm": 0.9}, "uncertainty of the thickness"),
        ({"u_thickness_mm": 0.03}, "but no thickness"),
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
        (json.dumps({"format": "fitup print check 1", "thickness_mm": 0.8}), "unknown: thickness_mm"),
        (json.dumps({"format": "fitup print check 2", **GOOD}), "u_thickness_mm"),
        (json.dumps({"format": "fitup print check 4", **GOOD}), "not marked"),
        (json.dumps({"format": ["fitup print check 1"]}), "not marked"),
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


OLDER = {
    "format": "fitup print check 1", "number": "P-2026-01-02", "date": "2026-01-02",
    "instrument": "caliper 3", "u_instrument_mm": 0.02, "along_mm": 140.12, "across_mm": 139.95,
    "nominal_along_mm": 140.0, "nominal_across_mm": 140.0, "strip": "long one, by the press",
}  # fmt: skip


def test_record_of_the_older_form_is_still_read(tmp_path):
    """As the first version wrote it, before thickness was part of a check."""
    path = tmp_path / "old.json"
    path.write_text(json.dumps(OLDER, indent=2))
    record = load_print_record(path)
    assert (record.along_mm, record.strip) == (140.12, "long one, by the press")
    assert record.thickness_mm is None
    assert record.u_thickness_mm is None


def test_thickness_is_kept(tmp_path):
    record = PrintRecord(**GOOD, thickness_mm=0.85, u_thickness_mm=0.036)
    save_print_record(record, tmp_path / "magnet.json")
    assert load_print_record(tmp_path / "magnet.json") == record


def test_a_check_is_never_written_over(tmp_path):
    path = tmp_path / "check.json"
    save_print_record(PrintRecord(**GOOD), path)
    before = path.read_bytes()
    with pytest.raises(UsageError, match="never written over: name another file"):
        save_print_record(PrintRecord(**(GOOD | {"along_mm": 140.0})), path)
    assert path.read_bytes() == before
    assert list(tmp_path.iterdir()) == [path]


@pytest.fixture(scope="module")
def magnet_photo():
    """A strip on a magnet sheet, its print 0.85 mm above the plate."""
    scene = Scene(thickness_mm=0.85)
    photo = photo_of(draw(scene), f35_mm=equivalent_mm(scene.camera))
    return scene, photo, find_target(photo)


THICK = PrintRecord(
    **(GOOD | {"along_mm": 140.0, "across_mm": 140.0}), thickness_mm=0.85, u_thickness_mm=0.036
)


def test_thickness_of_the_check_places_the_plate(magnet_photo):
    """Truth from the drawn scene: places of the plate, 0.85 mm under the print, in the photo."""
    scene, photo, sighting = magnet_photo
    places = np.array([[20.0, 15.0], [105.0, 25.0], [190.0, 15.0]])
    seen = scene.to_px(places)
    checked = scale_map(photo, sighting, print_record=THICK)
    paper = scale_map(photo, sighting, print_record=THICK, thickness_mm=0.1)
    assert checked.thickness_mm == 0.85
    assert np.linalg.norm(checked.to_mm(seen) - places, axis=1).max() < 0.05
    # Taken for paper, a length of 170 mm comes out wrong by 0.75 mm of some 230 mm distance.
    length = np.linalg.norm(paper.to_mm(seen)[2] - paper.to_mm(seen)[0])
    assert length / 170 - 1 == pytest.approx(-0.75 / 230, rel=0.1)


def test_thickness_said_now_wins_over_the_checks(magnet_photo):
    _, photo, sighting = magnet_photo
    assert scale_map(photo, sighting, print_record=THICK, thickness_mm=1.2).thickness_mm == 1.2
    assert scale_map(photo, sighting, print_record=PrintRecord(**GOOD)).thickness_mm == 0.1
    assert scale_map(photo, sighting).thickness_mm == 0.1


def test_uncertainty_of_the_thickness_is_the_checks_only_for_its_own_thickness(magnet_photo):
    _, photo, sighting = magnet_photo
    assert scale_map(photo, sighting, print_record=THICK).u_thickness_mm == 0.036
    assert scale_map(photo, sighting, print_record=THICK, thickness_mm=2.0).u_thickness_mm == 0.1
    place = np.array([105.0, 20.0])
    sure, unsure = (
        scale_map(photo, sighting, print_record=replace(THICK, u_thickness_mm=u)).relative_u(place)[
            "thickness"
        ]
        for u in (0.036, 0.36)
    )
    assert unsure > 5 * sure

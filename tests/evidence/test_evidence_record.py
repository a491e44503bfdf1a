"""The record: complete, plain JSON, described by its schema, the same after reading back."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest

from fitup.errors import StorageError
from fitup.evidence import build_record, read_record, record_from_json, record_schema, record_to_json
from fitup.evidence.record_file import SCHEMA_FILE, schema_text
from fitup.scale import LensChoice, LensProfile, PrintRecord
from fitup.scale.lens_file import lens_from_entries
from fitup.scale.lens_model import LensModel
from tests.evidence.builders import NOON, make_filing, make_inspection

CHECK = PrintRecord(
    number="P-7",
    date="2026-02-01",
    instrument="caliper 12",
    u_instrument_mm=0.02,
    along_mm=140.2,
    across_mm=139.9,
)


@pytest.fixture(scope="module")
def record() -> Any:
    return build_record(make_inspection(), make_filing())


def numbers_of(data: Any, path: str = "") -> dict[str, float]:
    """Every number in a JSON tree, by the name it has."""
    if isinstance(data, dict):
        return {k: v for name, part in data.items() for k, v in numbers_of(part, f"{path}.{name}").items()}
    if isinstance(data, list):
        return {k: v for i, part in enumerate(data) for k, v in numbers_of(part, f"{path}[{i}]").items()}
    return {path: data} if isinstance(data, int | float) and not isinstance(data, bool) else {}


def lens_profile() -> LensProfile:
    covariance = np.diag([1e-6, 1.0, 1.0, 0.1, 1e-4, 1e-4, 1e-8, 1e-8])
    return LensProfile(
        make="Invented", model="N7", software=None, focal_length_mm=5.6, focal_length_35mm=None,
        lens=LensModel(
            kind="opencv", size_px=(4000, 3000), focal_px=3000.1, centre_px=(2003.2, 1496.7),
            coefficients=(0.1, -0.2, 0.001, 0.0),
        ),
        focus=0.7, distance_mm=310.5, covariance=tuple(map(tuple, covariance.tolist())), rms_px=0.2,
        left_px=0.0, photo_count=9, point_count=800, date="2026-03-01",
    )  # fmt: skip


def test_published_schema_is_up_to_date() -> None:
    assert SCHEMA_FILE.read_text(encoding="utf-8") == schema_text(), "write schema_text() to SCHEMA_FILE"


def test_schema_is_sound_and_accepts_records(record: Any) -> None:
    """The jsonschema library is the second opinion on both."""
    schema = record_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    validator.validate(json.loads(record_to_json(record)))
    checked = build_record(make_inspection(unseen=False, print_record=CHECK), make_filing())
    validator.validate(json.loads(record_to_json(checked)))


@pytest.mark.parametrize(
    ("place", "value"),
    [
        (("schema_version",), 4),
        (("photo", "sha256"), "abc"),
        (("profile", "stations", 0, "state"), "fine"),
        (("profile", "stations", 0, "u_gap_mm"), -0.1),
        (("limit", "limit_mm"), 0),
        (("limit", "limit_mm"), "0.9"),
        (("extra",), 1),
        (("verdict", "seen_share"), 1.5),
    ],
)
def test_schema_and_reader_refuse_the_same_faults(record: Any, place: tuple[Any, ...], value: Any) -> None:
    data = json.loads(record_to_json(record))
    parent = data
    for step in place[:-1]:
        parent = parent[step]
    parent[place[-1]] = value
    assert not jsonschema.Draft202012Validator(record_schema()).is_valid(data)
    with pytest.raises(StorageError):
        record_from_json(json.dumps(data))


def test_round_trip_gives_the_same_record_and_the_same_bytes(record: Any, tmp_path: Path) -> None:
    text = record_to_json(record)
    (tmp_path / "record.json").write_text(text, encoding="utf-8")
    again = read_record(tmp_path / "record.json")
    assert again == record
    assert record_to_json(again) == text


def test_the_same_inspection_gives_the_same_bytes() -> None:
    texts = {record_to_json(build_record(make_inspection(), make_filing())) for _ in range(2)}
    assert len(texts) == 1


def test_numbers_are_kept_in_full(record: Any) -> None:
    profile = make_inspection().profile
    stored = np.array([math.nan if s.gap_mm is None else s.gap_mm for s in record.profile.stations])
    np.testing.assert_array_equal(stored, profile.gap_mm)
    np.testing.assert_array_equal([s.station_mm for s in record.profile.stations], profile.station_mm)


def test_unseen_is_null_and_text_holds_no_nan(record: Any) -> None:
    def refuse(constant: str) -> float:
        raise AssertionError(constant)

    data = json.loads(record_to_json(record), parse_constant=refuse)
    unseen = [s for s in data["profile"]["stations"] if s["state"] == "unseen"]
    assert unseen
    assert all(s["gap_mm"] is None and s["near_px"] is None and s["unseen_reason"] for s in unseen)
    spots = [spot for spot in data["verdict"]["spots"] if spot["state"] == "unseen"]
    assert spots
    assert all(spot["largest_gap_mm"] is None for spot in spots)


def test_every_number_names_its_unit(record: Any) -> None:
    """A number without a unit in its name is a count, an id, a share, a factor or has no unit by nature."""
    without_unit = {
        *("schema_version", "byte_count", "orientation", "columns", "rows", "strip_number", "marker_count"),
        *("saddle_id", "conformance_probability", "least_seen_share", "seen_share", "evidence", "rival"),
        *("contrast", "exponent", "sharpening_amount", "residual", "bridge_factor", "digital_zoom_ratio"),
        *("along_factor", "across_factor", "no_wire_share"),
        *("photo_count", "point_count", "focus", "coefficients", "covariance"),
    }
    units = (
        "_mm",
        "_mm2",
        "_mm_s",
        "_hz",
        "_w",
        "_px",
        "_deg",
        "_35mm",
        "_relative",
        "_px_per_mm",
        "homography_px_from_mm",
    )
    lens = LensChoice(profile=lens_profile())
    checked = build_record(make_inspection(print_record=CHECK, choice=lens), make_filing())
    assert checked.scale.lens is not None
    for path in numbers_of(json.loads(record_to_json(checked))):
        name = path.split(".")[-1].split("[")[0]
        assert name.endswith(units) or name in without_unit, path


def test_budget_means_are_root_mean_squares(record: Any) -> None:
    profile = make_inspection().profile
    lines = {line.name: line for line in record.profile.budget}
    assert set(lines) == {influence.name for influence in profile.budget}
    for influence in profile.budget:
        expected = math.sqrt(np.nanmean(influence.u_mm**2))
        assert lines[influence.name].u_mean_mm == pytest.approx(expected, rel=1e-12)
        assert lines[influence.name].common == influence.common
    means = [line.u_mean_mm for line in record.profile.budget]
    assert means == sorted(means, reverse=True)


def test_missing_print_check_is_stated_with_its_default_uncertainty(record: Any) -> None:
    assert record.scale.print_check is None
    assert "0.5 %" in record.scale.print_check_sentence
    checked = build_record(make_inspection(print_record=CHECK), make_filing())
    assert checked.scale.print_check is not None
    assert checked.scale.print_check.along_factor == pytest.approx(140.2 / 140)
    assert "P-7" in checked.scale.print_check_sentence


@pytest.mark.parametrize("given", [True, False])
def test_the_lens_profile_is_stored_whole(given: bool) -> None:
    """From the record alone the same profile comes back, by its digest."""
    choice = LensChoice(profile=lens_profile(), given=given, notes=("a doubt about the lens",))
    stored = record_from_json(record_to_json(build_record(make_inspection(choice=choice), make_filing())))
    lens = stored.scale.lens
    assert lens is not None
    assert lens.given_by == ("person" if given else "program")
    assert lens.used
    entries = lens.model_dump(mode="json", exclude={"sha256", "given_by", "used"})
    assert lens_from_entries(entries).sha256 == lens.sha256 == lens_profile().sha256
    assert "a doubt about the lens" in stored.photo.notes
    jsonschema.validate(json.loads(record_to_json(stored)), record_schema())


def test_a_record_of_the_first_version_is_still_read(record: Any) -> None:
    """As version 1 was: without the lens, the joint's shape and what was asked of them."""
    data = json.loads(record_to_json(record))
    data["schema_version"] = 1
    del data["scale"]["lens"], data["shape"]
    for name in ("target_on", "included_angle_deg", "overlap_mm", "two_targets", "one_sheet", "land_rule"):
        del data["request"][name]
    for name in ("rules", "weld", "other_sheet"):
        del data["request"][name]
    data["request"]["bridge_factor"] = 1.0
    for spot in data["verdict"]["spots"]:
        del spot["side"], spot["land_mm"]
    read = record_from_json(json.dumps(data))
    assert read.schema_version == 3
    assert read.scale.lens is None
    assert read.profile == record.profile


def test_filing_is_stored_in_utc(record: Any) -> None:
    assert record.filing.who == "A. Fitter"
    assert record.filing.filed_at_utc == NOON
    assert '"2026-03-04T12:00:00Z"' in record_to_json(record)


def test_names_that_are_no_text_are_made_storable() -> None:
    filing = replace(make_filing(), who="bad \udcff\x00 name", job="作業 ü")
    record = build_record(make_inspection(name="f\udce9te\n.png"), filing)
    text = record_to_json(record)
    text.encode("utf-8")
    assert record_from_json(text) == record
    assert record.filing.job == "作業 ü"


@pytest.mark.parametrize(
    "text",
    [
        b"",
        b"{",
        b"[]",
        b"null",
        b"{}",
        b'{"schema_version": 1}',
        b'{"schema_version": 99}',
        b'{"schema_version": "1"}',
        b'{"schema_version": [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21]}',
        b'{"schema_version": NaN}',
        b"\xff\xfe\x00",
        b"[" * 100_000,
        b"\x89PNG\r\n\x1a\n" + bytes(100),
    ],
    ids=range(13),
)
def test_damaged_or_foreign_files_are_one_sentence(text: bytes, tmp_path: Path) -> None:
    path = tmp_path / "record.json"
    path.write_bytes(text)
    with pytest.raises(StorageError) as caught:
        read_record(path)
    message = str(caught.value)
    assert "record.json" in message
    assert "\n" not in message
    assert len(message) < 400


def test_a_record_cut_anywhere_is_refused(record: Any) -> None:
    text = record_to_json(record).rstrip()
    for end in range(0, len(text), len(text) // 40):
        with pytest.raises(StorageError):
            record_from_json(text[:end])


def test_missing_file_is_a_storage_error(tmp_path: Path) -> None:
    with pytest.raises(StorageError, match=r"nowhere\.json"):
        read_record(tmp_path / "nowhere.json")


def test_record_of_a_drawn_photo_holds_all_that_was_asked(drawn: Any) -> None:
    inspection = drawn("opening").inspection
    record = build_record(inspection, make_filing())
    jsonschema.Draft202012Validator(record_schema()).validate(json.loads(record_to_json(record)))
    assert record_from_json(record_to_json(record)) == record
    assert record.photo.sha256 == inspection.photo.sha256
    assert record.request.wire.diameter_mm == inspection.settings.wire.diameter_mm
    assert len(record.scale.saddles) == len(inspection.scale.sighting.saddle_ids)
    assert [str(state) for state in inspection.verdict.states] == [s.state for s in record.profile.stations]

"""Lens profiles as files, which one a photo gets, and what hostile files say."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fitup.errors import StorageError, UsageError
from fitup.photo import CameraInfo
from fitup.scale.lens import LensProfile
from fitup.scale.lens_choice import choose_lens
from fitup.scale.lens_file import (
    lens_file_name,
    lens_profiles_in,
    load_lens_profile,
    save_lens_profile,
    usual_lens_folder,
)
from fitup.scale.lens_model import LensModel
from tests.scale.lens_world import PHONE, PHONE_INFO, ULTRA_WIDE, photo_of, with_orientation

SIZE = (80, 60)


def profile(lens: LensModel = PHONE, **change: object) -> LensProfile:
    count = 4 + len(lens.coefficients)
    u = np.array([0.001, 1.5, 1.4, 0.4, *[0.01] * len(lens.coefficients)])
    C = np.outer(u, u) * (0.2 + 0.8 * np.eye(count))
    given = {
        "make": "Invented", "model": "N7", "software": "7.1", "focal_length_mm": 5.6,
        "focal_length_35mm": 26.0, "lens": lens, "focus": 0.8, "distance_mm": 340.0,
        "covariance": tuple(tuple(float(c) for c in row) for row in C), "rms_px": 0.2, "left_px": 0.03,
        "photo_count": 12, "point_count": 1100, "date": "2026-03-01",
    }  # fmt: skip
    return LensProfile(**{**given, **change})


def small(lens: LensModel = PHONE, **change: object) -> LensProfile:
    return profile(replace(lens, size_px=SIZE, focal_px=62.0, centre_px=(39.0, 30.0)), **change)


def photo(**change: object):
    return photo_of(np.zeros(SIZE[::-1], np.uint8), camera=replace(PHONE_INFO, **change))


@pytest.mark.parametrize("lens", [PHONE, ULTRA_WIDE, replace(PHONE, coefficients=())])
def test_a_profile_is_read_back_as_it_was_written(lens, tmp_path):
    written = profile(lens, make=None)
    path = tmp_path / "deep" / "lens.json"
    save_lens_profile(written, path)
    read = load_lens_profile(path)
    assert read.entries == written.entries
    assert read.sha256 == written.sha256
    assert [entry.name for entry in path.parent.iterdir()] == ["lens.json"]


def test_the_digest_is_of_everything_in_it():
    digests = {
        profile().sha256,
        profile(model="N8").sha256,
        profile(rms_px=0.21).sha256,
        profile(replace(PHONE, focal_px=PHONE.focal_px + 1e-9)).sha256,
    }
    assert len(digests) == 4


def test_a_newer_profile_of_the_same_module_and_size_takes_the_place_of_the_older():
    assert lens_file_name(profile()) == lens_file_name(profile(date="2027-01-01", rms_px=0.3))
    names = {
        lens_file_name(profile(**change))
        for change in ({}, {"model": "N8"}, {"focal_length_mm": 2.2}, {"focal_length_35mm": 13.0})
    }
    assert len(names | {lens_file_name(small())}) == 5
    odd = lens_file_name(profile(make="../../É\n", model="a/b:c" * 40))
    assert Path(odd).name == odd
    assert odd.isascii()
    assert len(odd) < 200


def test_the_usual_folder_is_the_users_own(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    assert usual_lens_folder() == tmp_path / "fitup" / "lenses"
    monkeypatch.setenv("XDG_CONFIG_HOME", "relative/path")
    assert usual_lens_folder().is_absolute()
    assert lens_profiles_in(tmp_path / "nothing here") == ((), ())


HOSTILE = {
    "no JSON": b"{",
    "a list": b"[]",
    "nothing": b"",
    "binary": bytes(range(256)),
    "deep": b"[" * 60_000,
    "large": b" " * 200_000,
    "another format": b'{"format": "fitup print check 1"}',
    "only its mark": b'{"format": "fitup lens profile 1"}',
    "NaN": b'{"format": "fitup lens profile 1", "rms_px": NaN}',
}
WRONG = {
    "size_px": [[0, 0], [10**9, 5], [4000.5, 3000], "4000x3000", [True, True]],
    "kind": ["pinhole", None, 3],
    "focal_px": [0, -5, "3000", 1e300, None],
    "centre_px": [[1], [1, 2, 3], [1, None]],
    "coefficients": [[0.1], ["a"] * 4, [1e300] * 5, [-0.9, 0, 0, 0, 0]],
    "covariance": [[[1]], [[1, 2]] * 9, [[0.0] * 9] * 9, [["x"] * 9] * 9, 5],
    "date": ["yesterday", "2026-13-01", 5, None],
    "make": [5, "x" * 1000, "a\nb"],
    "photo_count": [-1, 2.5, True],
    "focal_length_mm": [-1, "5.6"],
    "distance_mm": [0, None],
    "extra": [1],
}


@pytest.mark.parametrize("name", HOSTILE)
def test_a_file_that_is_no_profile_is_refused_in_one_sentence(name, tmp_path):
    path = tmp_path / "lens.json"
    path.write_bytes(HOSTILE[name])
    with pytest.raises(UsageError, match=r"lens\.json .*\.$") as caught:
        load_lens_profile(path)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(("entry", "value"), [(key, value) for key in WRONG for value in WRONG[key]])
def test_an_entry_that_cannot_be_true_is_refused(entry, value, tmp_path):
    path = tmp_path / "lens.json"
    save_lens_profile(profile(), path)
    data = json.loads(path.read_text())
    path.write_text(json.dumps({**data, entry: value}))
    with pytest.raises(UsageError, match=r"lens\.json"):
        load_lens_profile(path)


def test_a_covariance_that_is_none_is_refused(tmp_path):
    path = tmp_path / "lens.json"
    save_lens_profile(profile(), path)
    data = json.loads(path.read_text())
    data["covariance"][0][1] += 5.0
    path.write_text(json.dumps(data))
    with pytest.raises(UsageError, match="contradict"):
        load_lens_profile(path)


def test_missing_files_and_folders_that_cannot_be_written(tmp_path):
    with pytest.raises(UsageError, match="cannot be read"):
        load_lens_profile(tmp_path / "missing.json")
    with pytest.raises(UsageError, match="cannot be read"):
        load_lens_profile("a\0b.json")
    (tmp_path / "file").write_text("")
    with pytest.raises(StorageError, match="could not be written"):
        save_lens_profile(profile(), tmp_path / "file" / "lens.json")


def test_a_folder_gives_its_profiles_and_tells_of_the_damaged_ones(tmp_path):
    save_lens_profile(profile(), tmp_path / "a.json")
    (tmp_path / "b.json").write_text("{")
    (tmp_path / "notes.txt").write_text("hello")
    profiles, troubles = lens_profiles_in(tmp_path)
    assert [one.sha256 for one in profiles] == [profile().sha256]
    assert len(troubles) == 1
    assert "b.json" in troubles[0]


def test_a_photo_gets_the_profile_of_its_phone_lens_and_size():
    others = [
        small(model="N8"),
        small(focal_length_mm=2.2, focal_length_35mm=13.0),
        profile(),
        small(date="2025-01-01", rms_px=0.1),
    ]
    right = small()
    choice = choose_lens(photo(), [*others, right])
    assert choice.profile is right
    assert not choice.given
    assert choice.notes == ()
    turned = with_orientation(photo(), 6)
    assert choose_lens(turned, [*others, right]).profile is right
    case = choose_lens(photo(make=" INVENTED ", model="n7"), [right])
    assert case.profile is right


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"digital_zoom_ratio": 1.5}, "digital zoom"),
        ({"focal_length_mm": 2.2, "focal_length_35mm": 13.0}, "another lens"),
        ({"focal_length_35mm": 52.0}, "another lens"),
        ({"focal_length_mm": None, "focal_length_35mm": None}, "another lens"),
    ],
)
def test_no_profile_for_another_lens_or_zoom_and_a_note_that_says_so(change, word):
    choice = choose_lens(photo(**change), [small()])
    assert choice.profile is None
    assert word in choice.notes[0]


def test_no_profile_for_a_cropped_picture_and_none_for_other_phones():
    choice = choose_lens(photo(), [profile()])
    assert choice.profile is None
    assert "cropped or scaled" in choice.notes[0]
    assert choose_lens(photo(model="N8"), [small()]).notes == ()
    nameless = CameraInfo()
    assert choose_lens(photo_of(np.zeros(SIZE[::-1], np.uint8), camera=nameless), [small()]).notes == ()


def test_other_software_is_a_doubt_but_a_new_version_is_none():
    assert choose_lens(photo(software="8.0.2"), [small()]).notes == ()
    choice = choose_lens(photo(software="Darkroom 3"), [small()])
    assert choice.profile is not None
    assert "software" in choice.notes[0]


def test_a_profile_that_a_person_gives_is_used_with_what_speaks_against_it():
    given = small(model="N8")
    choice = choose_lens(photo(digital_zoom_ratio=2.0), [small()], given)
    assert choice.profile is given
    assert choice.given
    assert len(choice.notes) == 2
    with pytest.raises(UsageError, match=r"2000 × 1500 px and board\.png has 80 × 60"):
        choose_lens(photo(), [], profile())


def test_a_contradicted_choice_keeps_the_name_and_not_the_use():
    choice = choose_lens(photo(), [small()]).contradicted()
    assert choice.profile is not None
    assert choice.used is None
    assert "contradicts" in choice.notes[-1]

"""`fitup seam` and named joints from end to end: results, exit codes, wrong arguments, records again."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from PIL import Image

from fitup.cli.joint_names import parse_joints
from fitup.cli.seams import parse_strips
from fitup.errors import StorageError, UsageError
from fitup.evidence.record_file import model_to_json
from fitup.evidence.seam_saving import SEAM_SCHEMA_FILE, is_seam_record, read_seam_record, seam_schema_text
from tests.drawn_seam import SHOTS, long_gap, save_shot
from tests.test_joints import TWO

Run = Callable[..., tuple[int, str, str]]
BC = ("--strips", "11-12")


@pytest.fixture(scope="module")
def drawn_photos(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Photos b and c of the long joint, one of b after the parts were moved, one of two joints."""
    folder = tmp_path_factory.mktemp("photos")
    for name in "bc":
        save_shot(SHOTS[name], folder / f"{name}.jpg")
    scene = replace(SHOTS["b"].scene, gap_mm=lambda x: long_gap(x) + 0.3)
    save_shot(replace(SHOTS["b"], scene=scene, seed=71), folder / "moved.jpg")
    save_shot(TWO, folder / "two.jpg")
    return folder


@pytest.fixture
def photos(drawn_photos: Path, tmp_path: Path) -> Path:
    """The same in a folder of their own, beside nothing else."""
    return Path(shutil.copytree(drawn_photos, tmp_path / "photos"))


def test_one_result_for_all_photos(fitup: Run, photos: Path) -> None:
    code, out, err = fitup(
        "seam",
        photos / "c.jpg",
        photos / "b.jpg",
        *BC,
        "--wire",
        "0.9mm",
        "--joint",
        "J7",
        "--who",
        "A. Fitter",
    )
    assert code == 3
    assert err == ""
    for words in ("RE-FIXTURE", "2 photos", "b.jpg (strips 11, 12)", "c.jpg", "places", "known to ±"):
        assert words in out
    assert "in b.jpg" in out
    assert max(len(line) for line in out.splitlines()) <= 80
    folder = photos.parent / "fitup-results" / "J7"
    assert sorted(path.name for path in folder.iterdir()) == [
        "overlay-1-b.jpg",
        "overlay-2-c.jpg",
        "profile.csv",
        "profile.png",
        "record.json",
    ]
    record = read_seam_record(folder / "record.json")
    assert record.filing.joint == "J7"
    assert [one.photo.name for one in record.photos] == ["b.jpg", "c.jpg"]
    assert [strip.strip_number for strip in record.chain.strips] == [11, 12]
    assert record.overlaps[0].stations > 50
    assert model_to_json(record) == (folder / "record.json").read_text(encoding="utf-8")
    jsonschema.Draft202012Validator(json.loads(seam_schema_text())).validate(record.model_dump(mode="json"))
    rows = list(csv.DictReader((folder / "profile.csv").open(encoding="utf-8", newline="")))
    assert len(rows) == len(record.profile.stations)
    # Where both see a station the one that weighs more stands first.
    shown = {frozenset(row["photos"].split(" + ")) for row in rows}
    assert shown >= {frozenset({"b.jpg"}), frozenset({"c.jpg"}), frozenset({"b.jpg", "c.jpg"})}
    assert {row["strip_number"] for row in rows} == {"11", "12"}


def test_record_is_shown_and_repeated_bit_for_bit(fitup: Run, photos: Path) -> None:
    fitup("seam", photos / "b.jpg", photos / "c.jpg", *BC, "--wire", "0.9mm", "--out", "o")
    code, out, _ = fitup("record", "show", "o/b-seam")
    assert code == 0
    assert "c.jpg (strips 11, 12)" in out
    code, out, _ = fitup("record", "show", "o/b-seam", "--json")
    assert json.loads(out)["kind"] == "seam"
    code, out, _ = fitup("record", "repeat", "o/b-seam", photos / "c.jpg", photos / "b.jpg")
    assert (code, "bit for bit" in out) == (0, True)
    assert fitup("record", "repeat", "o/b-seam", photos / "b.jpg")[0] == 2
    assert fitup("record", "repeat", "o/b-seam", photos / "b.jpg", photos / "two.jpg")[0] != 0
    # The same photos replace the earlier results, others get a folder of their own.
    fitup("seam", photos / "c.jpg", photos / "b.jpg", *BC, "--wire", "1.2mm", "--out", "o")
    assert [path.name for path in Path("o").iterdir()] == ["b-seam"]


def test_photos_that_disagree_are_one_sentence_and_code_5(fitup: Run, photos: Path) -> None:
    code, out, err = fitup("seam", photos / "moved.jpg", photos / "c.jpg", "--wire", "0.9mm")
    assert (code, out) == (5, "")
    assert len(err.splitlines()) == 1
    assert "moved.jpg" in err
    assert "c.jpg" in err
    assert not list(Path("fitup-results").iterdir())


def test_a_photo_that_cannot_be_measured_is_told_and_leaves_a_hole(fitup: Run, photos: Path) -> None:
    Image.fromarray(np.full((600, 800), 100, np.uint8)).save(photos / "plate.png")
    arguments = ("seam", photos / "plate.png", photos / "b.jpg", "--strips", "10-11", "--wire", "1.5mm")
    code, out, err = fitup(*arguments, "--no-files")
    assert code == 5  # the hole is too long to be left to a person
    assert err.startswith("fitup: plate.png: ")
    assert "photograph the stretch" in out
    assert "plate.png" in out
    (photos / "text.jpg").write_text("no photo")
    arguments = ("seam", photos / "text.jpg", photos / "b.jpg", "--strips", "11-11", "--wire", "1.5mm")
    assert fitup(*arguments, "--no-files")[0] == 2


def test_nothing_but_bad_photos_tells_each_once(fitup: Run, tmp_path: Path) -> None:
    for name in ("one.png", "two.png"):
        Image.fromarray(np.full((600, 800), 100, np.uint8)).save(tmp_path / name)
    code, out, err = fitup("seam", "one.png", "two.png", "--wire", "0.9mm", "--no-files")
    assert (code, out) == (5, "")
    assert [line.split(": ")[1] for line in sorted(err.splitlines())] == ["one.png", "two.png"]


def test_json_is_one_line(fitup: Run, photos: Path) -> None:
    code, out, _ = fitup(
        "seam", photos / "b.jpg", photos / "c.jpg", *BC, "--wire", "0.9mm", "--json", "--workers", "1"
    )
    (line,) = out.splitlines()
    told = json.loads(line)
    assert told["exit_code"] == code == 3
    assert told["record"]["kind"] == "seam"
    assert Path(told["folder"]).name == "b-seam"


@pytest.mark.parametrize(
    "arguments",
    [
        ["--strips", "4"],
        ["--strips", "4-2"],
        ["--strips", "x-y"],
        ["--strips", "12-13"],
        ["--workers", "0"],
        ["--from", "50mm", "--to", "20mm"],
        ["--joint-kind", "dovetail"],
        ["--points", "1,1 2,2"],
    ],
    ids=" ".join,
)
def test_wrong_arguments_are_one_sentence_and_code_2(fitup: Run, photos: Path, arguments: list[str]) -> None:
    code, out, err = fitup("seam", photos / "b.jpg", "--wire", "0.9mm", "--no-files", *arguments)
    assert (code, out) == (2, "")
    assert len(err.splitlines()) == 1


class TestJointsOfOnePhoto:
    def test_each_has_a_result_and_a_folder(self, fitup: Run, photos: Path) -> None:
        code, out, err = fitup("inspect", photos / "two.jpg", "--wire", "0.9mm", "--out", "o")
        assert (code, err) == (3, "")
        assert "WITHIN" in out
        assert "RE-FIXTURE" in out
        assert sorted(path.name for path in Path("o").iterdir()) == ["two strip 10", "two strip 11"]

    def test_named_joints(self, fitup: Run, photos: Path) -> None:
        arguments = ("inspect", photos / "two.jpg", "--wire", "0.9mm", "--out", "o", "--json")
        code, out, _ = fitup(*arguments, "--joint", "J3=10", "--joint", "J4=11")
        lines = [json.loads(line) for line in out.splitlines()]
        assert [line["record"]["filing"]["joint"] for line in lines] == ["J3", "J4"]
        assert [line["record"]["scale"]["target"]["strip_number"] for line in lines] == [10, 11]
        assert code == 3
        for name in ("two J3", "two J4"):
            assert fitup("record", "repeat", f"o/{name}", photos / "two.jpg")[0] == 0

    def test_one_of_them_alone_decides_the_exit_code(self, fitup: Run, photos: Path) -> None:
        arguments = ("inspect", photos / "two.jpg", "--wire", "0.9mm", "--no-files")
        assert fitup(*arguments, "--joint", "J3=10")[0] == 0
        assert fitup(*arguments, "--joint", "J4=11")[0] == 3
        code, out, err = fitup(*arguments, "--joint", "J9=5")
        assert (code, out) == (5, "")
        assert "J9" in err


def test_strips_as_a_person_writes_them() -> None:
    for text in ("1-4", " 1 - 4 ", "1..4", "1 to 4", "1–4"):
        assert parse_strips(text) == (1, 4)
    assert parse_strips("3-3") == (3, 3)


def test_joints_as_a_person_writes_them() -> None:
    assert parse_joints([]) == ("", {})
    assert parse_joints(["J3"]) == ("J3", {})
    assert parse_joints(["J3=11", "left = 12"]) == ("", {11: "J3", 12: "left"})
    assert parse_joints(["a=b"]) == ("a=b", {})
    for wrong in (["J3", "J4"], ["J3", "J4=11"], ["J3=11", "J4=11"], ["J3=11", "J3=12"]):
        with pytest.raises(UsageError):
            parse_joints(wrong)


def test_published_schema_is_that_of_the_model(fitup: Run) -> None:
    assert SEAM_SCHEMA_FILE.read_text(encoding="utf-8") == seam_schema_text()
    code, out, _ = fitup("schema", "--seam")
    assert code == 0
    assert json.loads(out) == json.loads(seam_schema_text())


def test_damaged_records_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "record.json"
    path.write_text('{"schema_version": 1, "kind": "seam"}')
    assert is_seam_record(path)
    with pytest.raises(StorageError, match="damaged"):
        read_seam_record(path)
    path.write_text('{"schema_version": 3, "kind": "seam"}')
    with pytest.raises(StorageError, match="version 3"):
        read_seam_record(path)
    for text in ("[]", "{", '{"schema_version": 1}'):
        path.write_text(text)
        assert not is_seam_record(path)

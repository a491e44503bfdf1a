"""`fitup archive` as QC uses it, and what must be refused."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from fitup.evidence import save_inspection
from fitup.evidence.archive.archive import open_archive
from fitup.evidence.archive.gathering import PhotoBox, drafts_of
from fitup.evidence.subject import Filing
from tests.conftest import Drawn
from tests.evidence.builders import make_inspection

Fitup = Callable[..., tuple[int, str, str]]
FILES = {"record.json", "overlay.jpg", "profile.png", "profile.csv", "photo.jpg"}


@pytest.fixture(autouse=True)
def no_setting(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("FITUP_ARCHIVE", raising=False)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two results of one photo, at two limits, and the photo."""
    parent = tmp_path_factory.mktemp("made")
    photo = b"\xff\xd8 the photo as the phone stored it \xff\xd9"
    (parent / "photo.jpg").write_bytes(photo)
    for limit, joint in (("0.9mm", "J4"), ("1.3mm", "J5")):
        inspection = make_inspection(limit=limit)
        sha256 = hashlib.sha256(photo).hexdigest()
        inspection = replace(
            inspection,
            photo=replace(inspection.photo, name="photo.jpg", sha256=sha256, byte_count=len(photo)),
        )
        filing = Filing(job="RT-40", part="rinse tank", joint=joint, who="K. M.")
        folder = save_inspection(inspection, parent / joint, filing=filing).folder
        folder.rename(parent / f"result {joint}")
    archive = open_archive(str(parent / "archive"), create=True)
    archive.add(drafts_of(parent / "result J4", PhotoBox([parent / "photo.jpg"])))
    return parent


@pytest.fixture
def shop(made: Path, tmp_path: Path) -> Path:
    for name in ("result J4", "result J5"):
        shutil.copytree(made / name, tmp_path / name)
    shutil.copy(made / "photo.jpg", tmp_path / "renamed since.jpg")
    return tmp_path


def add(fitup: Fitup, *more: str) -> tuple[int, str, str]:
    return fitup("archive", "add", *more, "--photo", "renamed since.jpg", "--archive", "a")


def lines(text: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in text.splitlines()]


def test_a_day_of_qc(fitup: Fitup, shop: Path) -> None:
    code, out, err = add(fitup, "result J4", "result J5", "--serial", "S-0042", "--note", "first article")
    assert (code, err) == (0, "")
    assert "entry 1" in out
    assert "entry 2" in out

    ask = ("--archive", "a")
    who = ("--who", "Q. C.")
    details = ("--bead-colour", "straw", "--penetration", "partial", "--photo", "renamed since.jpg")
    assert fitup("archive", "outcome", 1, "repaired", *who, *details, *ask)[0] == 0
    assert fitup("archive", "correct", 2, "--joint", "J6", *who, "--why", "typed wrongly", *ask)[0] == 0

    listed = fitup("archive", "list", *ask)[1].splitlines()
    assert all(len(line) <= 80 for line in listed)
    assert "repaired, see 3" in listed[4]
    assert "corrected, see 4" in listed[3]
    found = lines(fitup("archive", "search", "--joint", "j4", "--serial", "S-0042", "--json", *ask)[1])
    assert [one["entry"]["kind"] for one in found] == ["outcome", "inspection"]
    assert "no entry fits" in fitup("archive", "search", "--joint", "J", *ask)[1]

    shown = fitup("archive", "show", 1, "--out", "again", *ask)[1]
    assert "RE-FIXTURE" in shown
    assert "bead straw" in shown
    assert "first article" in shown
    written = {path.name: path.read_bytes() for path in (shop / "again" / "entry-1").iterdir()}
    assert set(written) == FILES
    assert written["photo.jpg"] == (shop / "renamed since.jpg").read_bytes()
    assert written["record.json"] == (shop / "result J4" / "record.json").read_bytes()

    code, out, _ = fitup("archive", "verify", *ask)
    assert code == 0
    assert "everything is as it was added" in out


def test_settlements_and_comparisons_follow_their_records(fitup: Fitup, shop: Path) -> None:
    assert add(fitup, "result J4", "result J5", "--serial", "S-9")[0] == 0
    assert (
        fitup("archive", "correct", 2, "--serial", "S-10", "--who", "QC", "--why", "typed", "--archive", "a")[
            0
        ]
        == 0
    )
    reading = ("--from", "155mm", "--to", "156mm", "--blade", "0.5mm", "--goes-in", "--who", "K. M.")
    fitup("settle", "result J4", *reading)
    fitup("compare", "result J4", "result J5", "--anyway", "--out", "compared")
    compared = next((shop / "compared").iterdir())
    code, out, _ = fitup("archive", "add", "result J4", compared, "--archive", "a", "--json")
    assert code == 0
    kinds = [[one["kind"] for one in line["entries"]] for line in lines(out)]
    assert kinds == [["settlement"], ["comparison"]]
    code, out, _ = fitup("archive", "add", "result J4", "--archive", "a")
    assert (code, "nothing new" in out) == (0, True)
    assert [
        one["entry"]["kind"] for one in lines(fitup("archive", "show", 1, "--json", "--archive", "a")[1])
    ] == [
        "inspection",
        "settlement",
        "comparison",
    ]
    for number in (3, 4):
        assert fitup("archive", "show", number, "--archive", "a")[0] == 0
    found = lines(fitup("archive", "search", "--serial", "S-9", "--json", "--archive", "a")[1])
    assert [one["entry"]["kind"] for one in found] == ["settlement", "inspection", "inspection"]


def test_a_comparison_of_what_is_not_archived_waits(fitup: Fitup, shop: Path) -> None:
    fitup("compare", "result J4", "result J5", "--anyway", "--out", "compared")
    code, _, err = fitup("archive", "add", next((shop / "compared").iterdir()), "--archive", "a")
    assert code == 2
    assert "add it first" in err


def test_inspecting_into_the_archive(
    fitup: Fitup, drawn: Callable[[str], Drawn], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    photo = drawn("opening").path
    options = ("--wire", "0.9mm", "--sheet", "1.5mm", "--joint", "J4")
    monkeypatch.setenv("FITUP_ARCHIVE", "a")
    code, out, err = fitup("inspect", photo, *options, "--serial", "S-7")
    assert (code, err) == (3, "")
    assert "entry 1, digest" in out
    (last,) = lines(fitup("archive", "list", "--json")[1])
    assert last["entry"]["about"]["serial"] == "S-7"
    assert {file["role"] for file in last["entry"]["files"]} == {
        "record",
        "photo",
        "overlay",
        "plot",
        "table",
    }
    fitup("archive", "show", 1, "--out", "again")
    again = tmp_path / "again" / "entry-1"
    code, out, _ = fitup("record", "repeat", again, again / photo.name)
    assert code == 0, out


def test_an_archive_that_fails_costs_no_results(
    fitup: Fitup, drawn: Callable[[str], Drawn], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from fitup.errors import StorageError
    from fitup.evidence.archive import archive

    def fail(*_: object) -> None:
        raise StorageError("the disk is full.")

    monkeypatch.setattr(archive.Archive, "add", fail)
    code, _, err = fitup("inspect", drawn("opening").path, "--wire", "0.9mm", "--archive", "a")
    assert code == 6
    assert "not archived: the disk is full; the results are in" in err
    assert len(list((tmp_path / "fitup-results").glob("*/record.json"))) == 1


def test_a_tampered_archive_is_told_with_code_6(fitup: Fitup, shop: Path) -> None:
    add(fitup, "result J4", "result J5")
    entry = lines(fitup("archive", "show", 1, "--json", "--archive", "a")[1])[0]["entry"]
    sha256 = next(file["sha256"] for file in entry["files"] if file["role"] == "record")
    path = shop / "a" / "files" / sha256[:2] / sha256
    path.chmod(0o644)
    path.write_bytes(path.read_bytes().replace(b"re-fixture", b"within    "))
    code, out, _ = fitup("archive", "verify", "--archive", "a")
    assert code == 6
    assert "record record.json of entry 1" in " ".join(out.split())
    assert "NOT as it was added: 1 altered" in out
    code, out, _ = fitup("archive", "verify", "--archive", "a", "--json")
    assert (code, lines(out)[0]["sound"]) == (6, False)
    code, _, err = fitup("archive", "show", 1, "--archive", "a")
    assert (code, "was altered" in err) == (6, True)


def test_a_head_is_stated_signed_and_checked(fitup: Fitup, shop: Path) -> None:
    add(fitup, "result J4")
    ask = ("--archive", "a")
    code, out, _ = fitup("archive", "head", *ask)
    assert code == 0
    assert "HEAD OF A FITUP ARCHIVE" in out
    assert fitup("archive", "key", "--out", "qc.pem")[0] == 0
    assert fitup("archive", "head", "--out", "head.json", "--key", "qc.pem", "--who", "QC", *ask)[0] == 0
    assert "signed     Ed25519" in (shop / "head.txt").read_text()
    add(fitup, "result J5")
    check = ("archive", "verify", "--head", "head.json", "--public-key", "qc.pem.pub", *ask)
    code, out, _ = fitup(*check)
    assert code == 0
    assert "entry 1 and all before are as stated" in " ".join(out.split())
    shutil.rmtree(shop / "a")
    add(fitup, "result J4", "--note", "another story")
    code, out, _ = fitup(*check)
    assert (code, "foreign" in out) == (6, True)
    for again in (("head", "--out", "head.json", *ask), ("key", "--out", "qc.pem")):
        code, _, err = fitup("archive", *again)
        assert (code, "never written over" in err) == (2, True)


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("list",), 2, "say which archive"),
        (("list", "--archive", "none"), 2, "there is no archive"),
        (("show", "99", "--archive", "a"), 2, "no entry 99"),
        (("show", str(2**40), "--archive", "a"), 2, "no entry"),
        (("outcome", "1", "fine", "--who", "x", "--archive", "a"), 2, "sound, repaired, scrapped"),
        (("outcome", "1", "sound", "--archive", "a"), 2, "--who must be given"),
        (("outcome", "1", "sound", "--who", "x", "--day", "26.11.", "--archive", "a"), 2, "2026-11-25"),
        (("outcome", "1", "sound", "--who", "x", "--photo", "none.jpg", "--archive", "a"), 6, "none.jpg"),
        (("correct", "1", "--who", "x", "--archive", "a"), 2, "--why must be given"),
        (("correct", "1", "--who", "x", "--why", "y", "--archive", "a"), 2, "--void"),
        (("search", "--verdict", "fine", "--archive", "a"), 2, "--verdict must be one of"),
        (("search", "--wire", "9mm", "--archive", "a"), 2, "wire"),
        (("search", "--from-day", "today", "--archive", "a"), 2, "--from-day"),
        (("verify", "--public-key", "k", "--archive", "a"), 2, "--head"),
        (("verify", "--head", "none.json", "--archive", "a"), 6, "none.json"),
        (("head", "--out", "head.txt", "--archive", "a"), 2, ".json"),
        (("head", "--key", "renamed since.jpg", "--archive", "a"), 2, "no Ed25519 key"),
        (("add", "nowhere", "--archive", "a"), 6, "nowhere"),
        (("add", "result J5", "--archive", "a"), 2, "not among the files given"),
        (("add", "result J5", "--note", "x" * 501, "--archive", "a"), 2, "shorten"),
        (("add", "result J5", "--photo", "x.jpg", "--without-photo", "--archive", "a"), 2, "exclude"),
        (("add", "result J5", "--archive", "mysql://h/d"), 2, "mysql"),
    ],
)
def test_what_cannot_be_used_is_told(
    arguments: tuple[str, ...], code: int, said: str, fitup: Fitup, made: Path, shop: Path
) -> None:
    shutil.copytree(made / "archive", shop / "a")
    given, out, err = fitup("archive", *arguments)
    assert (given, out) == (code, "")
    assert said in err
    assert len(err.splitlines()) == 1
    assert [
        one["entry"]["number"] for one in lines(fitup("archive", "list", "--json", "--archive", "a")[1])
    ] == [1]


def test_options_of_inspect_that_exclude_each_other(fitup: Fitup, tmp_path: Path) -> None:
    (tmp_path / "x.jpg").write_bytes(b"")
    for options, said in (
        (("--archive", "a", "--no-files"), "--no-files"),
        (("--serial", "S-1"), "--archive"),
    ):
        for command in ("inspect", "seam", "sides"):
            code, _, err = fitup(command, "x.jpg", "--wire", "0.9mm", *options)
            assert (code, said in err) == (2, True)
    assert not (tmp_path / "a").exists()


def test_a_wrong_option_makes_no_archive(fitup: Fitup, tmp_path: Path) -> None:
    for command in ("inspect", "seam", "sides"):
        assert fitup(command, "x.jpg", "--wire", "9mm", "--archive", "a")[0] == 2
    assert not (tmp_path / "a").exists()


def test_the_picture_is_opened(fitup: Fitup, shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[Path] = []

    def launch(name: str) -> int:
        opened.append(Path(name))
        return 0

    monkeypatch.setattr("typer.launch", launch)
    add(fitup, "result J4")
    fitup("archive", "outcome", 1, "sound", "--who", "QC", "--archive", "a")
    assert fitup("archive", "show", 1, "--open", "--archive", "a")[0] == 0
    assert [path.name for path in opened] == ["overlay.jpg"]
    assert opened[0].read_bytes() == (shop / "result J4" / "overlay.jpg").read_bytes()
    shutil.rmtree(opened[0].parent)
    code, _, err = fitup("archive", "show", 2, "--open", "--archive", "a")
    assert (code, "has no picture" in err) == (2, True)


def test_records_without_their_photo_are_kept_as_such(fitup: Fitup, shop: Path) -> None:
    assert fitup("archive", "add", "result J4", "--without-photo", "--archive", "a")[0] == 0
    (one,) = lines(fitup("archive", "list", "--json", "--archive", "a")[1])
    assert "photo" not in {file["role"] for file in one["entry"]["files"]}


def test_a_damaged_result_is_not_kept(fitup: Fitup, shop: Path) -> None:
    (shop / "result J4" / "record.json").write_text("{}")
    code, _, err = add(fitup, "result J4", "result J5")
    assert (code, "record.json" in err) == (6, True)
    assert len(lines(fitup("archive", "list", "--json", "--archive", "a")[1])) == 1

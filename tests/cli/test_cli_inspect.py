"""`fitup inspect` from end to end: results, exit codes, wrong arguments, hostile files."""

from __future__ import annotations

import errno
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from fitup import joints
from fitup.cli import inspecting
from fitup.cli.inspecting import PHOTO_SUFFIXES, find_photos, parse_points, worst
from fitup.errors import UsageError
from fitup.evidence import read_record, record_schema
from tests.photo.hostile import hostile_files

ROOT = Path(__file__).parents[2]
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def photo(drawn: Any, tmp_path: Path) -> Path:
    """A photo with a wide place: re-fixture."""
    return Path(shutil.copy(drawn("opening").path, tmp_path / "opening.jpg"))


def sentences(err: str) -> list[str]:
    lines = err.splitlines()
    assert all(line.startswith("fitup: ") for line in lines), err
    assert "Traceback" not in err
    return lines


def test_one_photo_end_to_end(fitup: Run, photo: Path) -> None:
    code, out, err = fitup("inspect", photo, "--wire", "0.9mm", "--who", "A. Fitter", "--job", "J1")
    assert code == 3
    assert err == ""
    for words in ("RE-FIXTURE", "largest gap", "0.90 mm", "what to do", "over", "unseen", "releases nothing"):
        assert words in out
    assert max(len(line) for line in out.splitlines()) <= 80
    folder = photo.parent / "fitup-results" / "opening"
    assert sorted(p.name for p in folder.iterdir()) == [
        "overlay.jpg",
        "profile.csv",
        "profile.png",
        "record.json",
    ]
    record = read_record(folder / "record.json")
    assert (record.filing.who, record.filing.job) == ("A. Fitter", "J1")
    assert record.verdict.word == "re-fixture"


@pytest.mark.parametrize(
    ("scene", "wire", "code"),
    [("opening", "0.9mm", 3), ("strong tone", "0.9mm", 0)],
    ids=["re-fixture", "within"],
)
def test_exit_code_is_that_of_the_verdict(fitup: Run, drawn: Any, scene: str, wire: str, code: int) -> None:
    path = drawn(scene).path
    assert fitup("inspect", path, "--wire", wire, "--no-files")[0] == code


def test_no_files_writes_none(fitup: Run, photo: Path) -> None:
    fitup("inspect", photo, "--wire", "0.9mm", "--no-files")
    assert [p.name for p in photo.parent.iterdir()] == ["opening.jpg"]


def test_json_lines_hold_a_valid_record_and_nothing_else(fitup: Run, photo: Path) -> None:
    code, out, err = fitup("inspect", photo, "nowhere.jpg", "--wire", "035", "--json", "--out", "o")
    lines = [json.loads(line) for line in out.splitlines()]
    assert [line["exit_code"] for line in lines] == [3, 2]
    jsonschema.Draft202012Validator(record_schema()).validate(lines[0]["record"])
    assert lines[0]["folder"] == os.path.join("o", "opening")  # noqa: PTH118
    assert "nowhere.jpg" in lines[1]["error"]
    assert len(sentences(err)) == 1
    assert code == 2


def test_a_bad_photo_stops_nothing_and_the_worst_counts(fitup: Run, photo: Path) -> None:
    (photo.parent / "aaa.jpg").write_bytes(b"no photo")
    code, out, err = fitup("inspect", ".", "--wire", "0.9mm", "--out", "o")
    assert code == 2
    assert len(sentences(err)) == 1
    assert "RE-FIXTURE" in out
    assert "2 photos: 1 not readable, 1 re-fixture" in out
    assert (photo.parent / "o" / "opening" / "record.json").is_file()


def test_a_crash_in_one_photo_is_told_and_stops_nothing(
    fitup: Run, photo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = joints.inspect_joints
    shutil.copy(photo, photo.parent / "bad.jpg")

    def crash(path: Path, settings: Any, names: Any) -> Any:
        if path.name == "bad.jpg":
            raise KeyError("inside\nout")
        return real(path, settings, names)

    monkeypatch.setattr(joints, "inspect_joints", crash)
    code, out, err = fitup("inspect", ".", "--wire", "0.9mm", "--no-files")
    assert code == 1
    assert "RE-FIXTURE" in out
    assert len(sentences(err)) == 1
    assert "bad.jpg" in err
    assert "report" in err


WRONG = {
    "wire is no number": ["--wire", "thick"],
    "wire too thin": ["--wire", "0.1mm"],
    "wire negative": ["--wire=-0.9mm"],
    "wire empty": ["--wire", ""],
    "limit zero": ["--wire", "0.9mm", "--limit", "0"],
    "limit negative": ["--wire", "0.9mm", "--limit=-1mm"],
    "limit nan": ["--wire", "0.9mm", "--limit", "nan"],
    "limit huge": ["--wire", "0.9mm", "--limit", "500mm"],
    "sheet unknown": ["--wire", "0.9mm", "--sheet", "heavy"],
    "joint kind unknown": ["--wire", "0.9mm", "--joint-kind", "dovetail"],
    "probability above one": ["--wire", "0.9mm", "--probability", "1.5"],
    "probability nan": ["--wire", "0.9mm", "--probability", "nan"],
    "probability is a word": ["--wire", "0.9mm", "--probability", "sure"],
    "thickness is a word": ["--wire", "0.9mm", "--thickness", "thin"],
    "one point": ["--wire", "0.9mm", "--points", "10,10"],
    "points are words": ["--wire", "0.9mm", "--points", "a,b c,d"],
    "points infinite": ["--wire", "0.9mm", "--points", "1e999,2 3,4"],
    "from behind to": ["--wire", "0.9mm", "--from", "50mm", "--to", "20mm"],
    "from is a word": ["--wire", "0.9mm", "--from", "here"],
    "from nan": ["--wire", "0.9mm", "--from", "nan"],
    "no print record": ["--wire", "0.9mm", "--print-record", "nowhere.json"],
    "print record is the photo": ["--wire", "0.9mm", "--print-record", "opening.jpg"],
    "no wire": [],
    "option unknown": ["--wire", "0.9mm", "--bogus"],
    "option without value": ["--wire"],
}


@pytest.mark.parametrize("arguments", WRONG.values(), ids=WRONG)
def test_wrong_arguments_are_one_sentence_and_code_2(fitup: Run, photo: Path, arguments: list[str]) -> None:
    code, out, err = fitup("inspect", photo, *arguments)
    assert code == 2
    assert out == ""
    assert len(sentences(err)) == 1
    assert [p.name for p in photo.parent.iterdir()] == ["opening.jpg"]


@pytest.mark.parametrize(
    "name",
    [
        "missing.jpg",
        "missing-folder/x.jpg",
        "nul\0.jpg",
        "",
        "n" * 300 + ".jpg",
        "\udcff.jpg",
        "日本\n語.jpg",
    ],
)
def test_names_that_lead_nowhere(fitup: Run, name: str) -> None:
    code, out, err = fitup("inspect", name, "--wire", "0.9mm", "--no-files")
    assert code == 2
    assert out == ""
    assert len(sentences(err)) == 1


def test_empty_folder_and_folder_without_photos(fitup: Run, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "words").mkdir()
    (tmp_path / "words" / "readme.txt").write_text("x")
    code, _, err = fitup("inspect", "empty", "words", "--wire", "0.9mm")
    assert code == 2
    assert len(sentences(err)) == 2
    assert all("holds no photo" in line for line in err.splitlines())
    assert sorted(p.name for p in tmp_path.iterdir()) == ["empty", "words"]


def test_folder_takes_photos_only_each_once_in_order(tmp_path: Path) -> None:
    for name in ("b.JPG", "a.heic", "notes.txt", ".hidden.jpg", "c.png"):
        (tmp_path / name).write_bytes(b"")
    (tmp_path / "deeper").mkdir()
    (tmp_path / "deeper" / "d.jpg").write_bytes(b"")
    photos, faults = find_photos(
        [str(tmp_path / "c.png"), str(tmp_path), str(tmp_path / "deeper" / ".." / "c.png")]
    )
    assert [p.name for p in photos] == ["c.png", "a.heic", "b.JPG"]
    assert faults == []
    assert ".jpg" in PHOTO_SUFFIXES


@pytest.mark.parametrize("name", ["Blech ü 溶接 №7.jpg", "w" * 240 + ".jpg", "two  spaces.jpg", "-dash.jpg"])
def test_unusual_names_work(fitup: Run, photo: Path, name: str) -> None:
    photo.rename(photo.parent / name)
    code, out, err = fitup("inspect", "--wire", "0.9mm", "--out", "o", "--", name)
    assert code == 3
    assert err == ""
    assert max(len(line) for line in out.splitlines()) <= 84
    folders = list((photo.parent / "o").iterdir())
    assert len(folders) == 1
    assert read_record(folders[0] / "record.json").photo.name == name


def test_photos_of_the_same_name_do_not_collide(fitup: Run, photo: Path, drawn: Any) -> None:
    (photo.parent / "second").mkdir()
    shutil.copy(drawn("strong tone").path, photo.parent / "second" / "opening.jpg")
    assert fitup("inspect", ".", "second", "--wire", "0.9mm", "--out", "o")[0] == 3
    words = {p.name: read_record(p / "record.json").verdict.word for p in (photo.parent / "o").iterdir()}
    assert words == {"opening": "re-fixture", "opening-2": "within"}
    # Measured again, each goes to its own place.
    assert fitup("inspect", ".", "second", "--wire", "0.9mm", "--out", "o")[0] == 3
    again = {p.name: read_record(p / "record.json").verdict.word for p in (photo.parent / "o").iterdir()}
    assert again == words


def test_out_that_is_a_file_or_lies_under_one(fitup: Run, photo: Path) -> None:
    (photo.parent / "file").write_bytes(b"x")
    for out in ("file", "file/below", "nul\0name"):
        code, shown, err = fitup("inspect", photo, "--wire", "0.9mm", "--out", out)
        assert code == 6
        assert shown == ""
        assert len(sentences(err)) == 1
    assert sorted(p.name for p in photo.parent.iterdir()) == ["file", "opening.jpg"]


def test_disk_that_fills_up_is_code_6_and_leaves_nothing(
    fitup: Run, photo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    code, _, err = fitup("inspect", photo, "--wire", "0.9mm", "--out", "o")
    assert code == 6
    assert "no space left" in sentences(err)[0]
    assert list((photo.parent / "o").iterdir()) == []


def test_points_need_a_single_photo_and_are_stored(fitup: Run, photo: Path, drawn: Any) -> None:
    path = drawn("opening").inspection.profile.centre_px
    points = " ".join(f"{u:.1f},{v:.1f}" for u, v in path[[0, len(path) // 2, -1]])
    assert fitup("inspect", photo, "--wire", "0.9mm", "--points", points, "--out", "o")[0] == 3
    record = read_record(photo.parent / "o" / "opening" / "record.json")
    assert record.joint.given_by == "person"
    assert record.request.joint_points_px is not None
    shutil.copy(photo, photo.parent / "b.jpg")
    code, _, err = fitup("inspect", ".", "--wire", "0.9mm", "--points", points)
    assert code == 2
    assert "one photo" in sentences(err)[0]


def test_parse_points() -> None:
    assert parse_points("1,2 3.5,4;-5,6") == [(1.0, 2.0), (3.5, 4.0), (-5.0, 6.0)]
    for text in ("", "1,2", "1 2", "1,2 3", "nan,1 2,3", "1,2 " * 2000):
        with pytest.raises(UsageError):
            parse_points(text)


def test_the_worst_code_wins() -> None:
    assert worst([]) == 0
    assert worst([0, 4]) == 4
    assert worst([0, 4, 5]) == 5
    assert worst([5, 3, 4]) == 3
    assert worst([3, 2, 5]) == 2
    assert worst([2, 6, 3]) == 6
    assert sorted(inspecting.WORST_FIRST) == [0, 1, 2, 3, 4, 5, 6]


def test_every_hostile_file_is_one_sentence_and_the_good_photo_is_measured(
    fitup: Run, photo: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("hostile")
    bad = list(hostile_files(folder).values())
    code, out, err = fitup("inspect", *bad, photo, "--wire", "0.9mm", "--out", "o")
    assert code == 2
    lines = sentences(err)
    assert (
        len(lines) >= len({os.path.realpath(path) for path in bad}) - 1
    )  # some may be folders without photos
    assert all(len(line) < 500 for line in lines)
    assert "RE-FIXTURE" in out
    assert [p.name for p in (photo.parent / "o").iterdir()] == ["opening"]


def command(*arguments: str, **options: Any) -> subprocess.CompletedProcess[bytes]:
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "NO_COLOR": "1", **options.pop("env", {})}
    return subprocess.run(
        [sys.executable, "-m", "fitup", *arguments],
        capture_output=True,
        env=environment,
        timeout=120,
        check=False,
        **options,
    )


def test_ascii_only_terminal(photo: Path) -> None:
    done = command("inspect", str(photo), "--wire", "0.9mm", "--no-files", env={"PYTHONIOENCODING": "ascii"})
    assert done.returncode == 3
    text = done.stdout.decode("ascii")
    assert "+/-" in text
    assert "?" not in text.split("gap along")[0]
    assert done.stderr == b""


def test_reader_that_goes_away_is_no_crash(photo: Path) -> None:
    read_end, write_end = os.pipe()
    os.close(read_end)
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    for extra in ([], ["--json"]):
        arguments = [
            sys.executable,
            "-m",
            "fitup",
            "inspect",
            str(photo),
            "--wire",
            "0.9mm",
            "--no-files",
            *extra,
        ]
        done = subprocess.run(
            arguments, stdout=write_end, stderr=subprocess.PIPE, env=environment, timeout=120, check=False
        )
        assert done.returncode == 141
        assert done.stderr == b""
    os.close(write_end)


def test_progress_bar_stays_out_of_the_results(photo: Path, drawn: Any) -> None:
    """With a terminal on stderr and a pipe on stdout the pipe gets JSON lines and nothing else."""
    pty = pytest.importorskip("pty", reason="needs a Unix terminal")
    shutil.copy(drawn("strong tone").path, photo.parent / "second.jpg")
    master, slave = pty.openpty()
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "fitup",
            "inspect",
            str(photo.parent),
            "--wire",
            "0.9mm",
            "--no-files",
            "--json",
        ],
        stdout=subprocess.PIPE,
        stderr=slave,
        env={**os.environ, "PYTHONPATH": str(ROOT), "TERM": "xterm"},
        timeout=120,
        check=False,
    )
    os.close(slave)
    shown = os.read(master, 100_000)
    os.close(master)
    assert b"2/2" in shown
    assert [json.loads(line)["exit_code"] for line in done.stdout.splitlines()] == [3, 0]

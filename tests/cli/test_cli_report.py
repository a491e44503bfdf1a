"""`fitup report` on the command line: what it writes, what it says, and how it ends."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from fitup.evidence import writing
from tests.evidence.reported import made_up

Fitup = Callable[..., tuple[int, str, str]]


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return made_up(tmp_path_factory.mktemp("results"))


def test_it_writes_the_file_and_says_which(fitup: Fitup, results: Path, tmp_path: Path) -> None:
    code, out, err = fitup(
        "report", results, "--out", tmp_path / "new" / "J1.pdf", "--html", "--paper", "letter"
    )
    assert (code, err) == (0, "")
    assert out.splitlines() == [str(tmp_path / "new" / "J1.pdf"), str(tmp_path / "new" / "J1.html")]
    assert (tmp_path / "new" / "J1.pdf").read_bytes().startswith(b"%PDF-1.7")
    assert (tmp_path / "new" / "J1.html").read_bytes().startswith(b"<!DOCTYPE html>")
    assert sorted(path.name for path in (tmp_path / "new").iterdir()) == ["J1.html", "J1.pdf"]


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["nowhere"], 6),
        (["."], 2),
        (["damaged"], 6),
        (["RESULTS", "--font", "nowhere.ttf"], 2),
        (["RESULTS", "--paper", "A3"], 2),
    ],
)
def test_what_cannot_be_used_is_one_sentence_and_no_file(
    fitup: Fitup, results: Path, tmp_path: Path, words: list[str], code: int
) -> None:
    (tmp_path / "damaged").mkdir()
    whole = (results / "record.json").read_bytes()
    (tmp_path / "damaged" / "record.json").write_bytes(whole[: len(whole) // 2])
    if words == ["."]:
        shutil.rmtree(tmp_path / "damaged")
    given = [str(results) if word == "RESULTS" else word for word in words]
    ended, out, err = fitup("report", *given, "--out", "report.pdf")
    assert (ended, out) == (code, "")
    assert err.startswith("fitup: ")
    assert err.count("\n") == 1
    assert not (tmp_path / "report.pdf").exists()


def test_a_place_that_takes_no_files(fitup: Fitup, results: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    code, _, err = fitup("report", results, "--out", tmp_path / "file" / "report.pdf")
    assert code == 6
    assert err.startswith("fitup: cannot write to ")


def test_a_folder_that_may_not_be_written(
    fitup: Fitup, results: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def forbidden(*_: object, **__: object) -> tuple[int, str]:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(writing.tempfile, "mkstemp", forbidden)
    code, _, err = fitup("report", results, "--out", tmp_path / "report.pdf")
    assert code == 6
    assert "permission denied" in err
    assert list(tmp_path.iterdir()) == []


def test_help_loads_nothing_heavy(fitup: Fitup) -> None:
    code, out, _ = fitup("report", "--help")
    assert code == 0
    assert "--font" in out

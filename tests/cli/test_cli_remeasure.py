"""`fitup archive remeasure` as QC uses it, and what must be refused."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from fitup.evidence import Filing, build_record
from fitup.evidence.archive.archive import open_archive
from tests.conftest import Drawn
from tests.evidence.builders import make_inspection
from tests.test_remeasuring import inspection_draft

Fitup = Callable[..., tuple[int, str, str]]


@pytest.fixture(autouse=True)
def no_setting(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("FITUP_ARCHIVE", raising=False)


@pytest.fixture
def archived(fitup: Fitup, drawn: Callable[[str], Drawn]) -> Path:
    """An archive `a` of one photo, filed as two joints; the second entry's record tells another gap."""
    photo = drawn("opening").path
    inspected = ("inspect", photo, "--wire", "0.9mm", "--job", "RT-40")
    assert fitup(*inspected, "--joint", "J1", "--out", "o", "--archive", "a")[0] == 3
    assert fitup(*inspected, "--joint", "J2", "--out", "p")[0] == 3
    file = Path("p/opening/record.json")
    data = json.loads(file.read_text(encoding="utf-8"))
    station = next(s for s in data["profile"]["stations"] if s["gap_mm"] is not None)
    station["gap_mm"] += 0.5
    file.write_text(json.dumps(data), encoding="utf-8")
    assert fitup("archive", "add", "p/opening", "--photo", photo, "--archive", "a")[0] == 0
    return photo


@pytest.mark.usefixtures("archived")
def test_what_would_change_is_told_and_written(fitup: Fitup) -> None:
    before = {path: path.read_bytes() for path in Path("a").rglob("*") if path.is_file()}
    code, out, err = fitup("archive", "remeasure", "--archive", "a", "--workers", 2, "--out", "r")
    assert (code, err) == (6, "")
    assert all(len(line) <= 80 for line in out.splitlines())
    text = " ".join(out.split())
    assert "entry 2 RT-40 J2 changed: 1 of" in text
    assert "most 0.5 mm at" in text
    assert "same 1: every number is the same" in text
    assert "1 of 2 would change" in text
    assert {path: path.read_bytes() for path in Path("a").rglob("*") if path.is_file()} == before

    rows = [json.loads(line) for line in Path("r/remeasured/entries.jsonl").read_text().splitlines()]
    assert [(row["entry"], row["result"], row["changed"]) for row in rows] == [
        (2, "changed", ["gap"]),
        (1, "same", []),
    ]
    summary = json.loads(Path("r/remeasured/summary.json").read_text())
    assert summary["results"] == {"changed": 1, "same": 1}
    assert (summary["entries"], summary["stations_beyond"]) == (2, 1)
    assert summary["largest_change_mm"] == pytest.approx(0.5)

    # A second run writes beside the first; entries are chosen as in searching.
    chosen = ("--joint", "j1", "--verdict", "re-fixture", "--workers", 1, "--json")
    code, out, _ = fitup("archive", "remeasure", "rt-40", "--archive", "a", *chosen, "--out", "r")
    assert code == 0
    assert [json.loads(line)["entry"] for line in out.splitlines()] == [1]
    assert Path("r/remeasured-2/entries.jsonl").read_text() == out


@pytest.mark.parametrize(
    ("options", "code", "words"),
    [
        (("--joint", "J9"), 0, "no entry that was measured fits"),
        (("--kind", "settlement"), 2, "is not measured in photos"),
        (("--kind", "photo"), 2, "--kind must be one of"),
        (("--cluster", "here"), 2, "tcp://HOST:PORT"),
        (("--cluster", "tcp://127.0.0.1:1", "--workers", "3"), 2, "has its own workers"),
        (("--workers", "0"), 2, "--workers"),
        (("--most", "0"), 2, "--most"),
        (("--from-day", "yesterday"), 2, "--from-day"),
        (("--out", "a/archive.sqlite"), 6, "another folder with --out"),
        (("--cluster", "local"), 2, "install fitup[cluster]"),
    ],
)
def test_what_is_refused(
    fitup: Fitup, monkeypatch: pytest.MonkeyPatch, options: tuple[str, ...], code: int, words: str
) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    record = build_record(make_inspection(), Filing(joint="J1"))
    open_archive("a", create=True).add([inspection_draft(record, None, "J1")])
    got, out, err = fitup("archive", "remeasure", "--archive", "a", *options)
    assert got == code
    assert words in out + err
    assert len(err.splitlines()) == (1 if code else 0)
    assert "Traceback" not in err


def test_no_archive(fitup: Fitup) -> None:
    code, _, err = fitup("archive", "remeasure", "--archive", "nowhere")
    assert (code, "there is no archive" in err) == (2, True)

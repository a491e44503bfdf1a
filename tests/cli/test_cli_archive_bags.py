"""`fitup archive export` and `import` as QC uses them, and what must be refused."""

from __future__ import annotations

import csv
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
from fitup.evidence.archive.draft import Draft, DraftFile
from fitup.evidence.archive.export import export_bag, selected
from fitup.evidence.archive.gathering import PhotoBox, drafts_of
from fitup.evidence.subject import Filing
from tests.evidence.builders import make_inspection

Fitup = Callable[..., tuple[int, str, str]]
DEMO = Path(__file__).resolve().parents[2] / "demo_images" / "02_one_opening.jpg"
PHOTO = b"\xff\xd8 the photo as the phone stored it \xff\xd9"


@pytest.fixture(autouse=True)
def no_setting(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("FITUP_ARCHIVE", raising=False)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive of two joints; the second has a name that looks like a formula, and no photo."""
    place = tmp_path_factory.mktemp("made")
    (place / "photo.jpg").write_bytes(PHOTO)
    archive = open_archive(str(place / "archive"), create=True)
    for limit, joint in (("0.9mm", "J4"), ("1.3mm", "=HYPERLINK(J5)")):
        inspection = make_inspection(limit=limit)
        photo = replace(
            inspection.photo,
            name="photo.jpg",
            sha256=hashlib.sha256(PHOTO).hexdigest(),
            byte_count=len(PHOTO),
        )
        filing = Filing(job="RT-40", part="rinse tank", joint=joint, who="K. M.")
        folder = save_inspection(replace(inspection, photo=photo), place / limit, filing=filing).folder
        box = PhotoBox([place / "photo.jpg"]) if joint == "J4" else None
        archive.add(drafts_of(folder, box))
    return place


@pytest.fixture
def shop(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    shutil.copytree(made, tmp_path, dirs_exist_ok=True)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def export(fitup: Fitup, *more: str) -> tuple[int, str, str]:
    return fitup("archive", "export", "--archive", "archive", *more)


def test_a_bag_goes_to_another_archive_once(shop: Path, fitup: Fitup) -> None:
    code, out, err = export(fitup, "--all", "--out", "bag")
    assert (code, err) == (0, "")
    assert "2: 1, 2" in out
    assert "cannot be measured again: 2" in out
    assert hashlib.sha256((shop / "bag" / "tagmanifest-sha256.txt").read_bytes()).hexdigest() in out
    code, out, err = fitup("archive", "import", "bag", "--archive", "other")
    assert (code, err) == (0, "")
    assert "2: 1, 2; 0 were there before" in out
    code, out, _ = fitup("archive", "import", "bag", "--archive", "other", "--json")
    told = json.loads(out)
    assert [(one["entry"], one["fresh"]) for one in told["imported"]] == [(1, False), (2, False)]
    code, out, _ = fitup("archive", "show", "1", "--archive", "other")
    head = told["head"]["digest"]
    assert told["archive"] in out
    assert "imported" in out
    assert open_archive(str(shop / "archive")).entry(2).digest == head
    assert fitup("archive", "verify", "--archive", "other")[0] == 0


@pytest.mark.parametrize(
    ("said", "named"),
    [
        ({"verdict": "within"}, "verdict"),
        ({"largest_gap_um": 1}, "largest gap"),
        ({"sentence": "All is well."}, "sentence"),
    ],
)
def test_an_entry_that_tells_otherwise_than_its_record_is_not_imported(
    said: dict[str, Any], named: str, shop: Path, fitup: Fitup
) -> None:
    archive = open_archive(str(shop / "archive"))
    entry = archive.entry(1).entry
    record = entry.file("record")
    assert record is not None
    assert entry.about.verdict != "within"
    draft = Draft(
        kind="inspection",
        about=entry.about.model_copy(update=said),
        files=(DraftFile.of("record", "record.json", archive.store.read(record.sha256)),),
    )
    forged = open_archive(str(shop / "forged"), create=True)
    forged.add([draft])
    export_bag(forged, selected(forged, [1]), shop / "bag")
    code, _, err = fitup("archive", "import", "bag", "--archive", "other")
    assert code == 6
    assert f"entry 1 is altered: it tells of another {named} than its record" in err


def test_profiles_for_spreadsheets(shop: Path, fitup: Fitup) -> None:
    assert export(fitup, "--all", "--out", "all.csv")[0] == 0
    assert export(fitup, "--all", "--out", "all.jsonl")[0] == 0
    assert export(fitup, "--all", "--out", "bag")[0] == 0
    for name in ("csv", "jsonl"):
        assert (shop / f"all.{name}").read_bytes() == (shop / "bag/data" / f"profiles.{name}").read_bytes()
    table = rows(shop / "all.csv")
    assert {row["joint"] for row in table} == {"J4", "'=HYPERLINK(J5)"}
    lines = [json.loads(line) for line in (shop / "all.jsonl").read_text("utf-8").splitlines()]
    assert [line["joint"] for line in lines] == ["J4", "=HYPERLINK(J5)"]
    stored = json.loads(next((shop / "0.9mm").glob("*/record.json")).read_text("utf-8"))
    assert lines[0]["profile"] == stored["profile"]
    first = [row for row in table if row["entry"] == "1"]
    assert len(first) == len(stored["profile"]["stations"])
    for row, station in zip(first, stored["profile"]["stations"], strict=True):
        assert row["state"] == station["state"]
        seen = station["gap_mm"]
        assert row["gap_mm"] == ("" if seen is None else f"{round(seen, 4):.4f}")


def test_tables_have_what_was_corrected(shop: Path, fitup: Fitup) -> None:
    correct = ("archive", "correct", "1", "--archive", "archive", "--who", "QC", "--why", "typed")
    assert fitup(*correct, "--joint", "J7", "--void")[0] == 0
    assert export(fitup, "1", "--out", "one.csv")[0] == 0
    assert {(row["joint"], row["void"]) for row in rows(shop / "one.csv")} == {("J7", "void")}


@pytest.mark.parametrize(
    ("chosen", "numbers"),
    [
        (("2",), [2]),
        (("1", "2", "2"), [1, 2]),
        (("--joint", "j4"), [1]),
        (("--word", "rinse", "--job", "RT-40"), [1, 2]),
        (("--kind", "inspection", "--who", "K. M."), [1, 2]),
    ],
)
def test_what_is_exported(chosen: tuple[str, ...], numbers: list[int], shop: Path, fitup: Fitup) -> None:
    code, out, _ = export(fitup, *chosen, "--out", "bag", "--json")
    assert code == 0
    assert json.loads(out)["entries"] == numbers


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("--out", "bag"), 2, "say which entries"),
        (("1", "--all", "--out", "bag"), 2, "one of the three"),
        (("1", "--job", "RT-40", "--out", "bag"), 2, "one of the three"),
        (("1",), 2, "say where to"),
        (("1", "--out", "  "), 2, "say where to"),
        (("9", "--out", "bag"), 2, "no entry 9"),
        (("--job", "none", "--out", "bag"), 2, "no entry fits"),
        (("--from-day", "yesterday", "--out", "bag"), 2, "--from-day"),
        (("1", "--out", "archive"), 2, "is there already"),
        (("1", "--out", "photo.jpg"), 2, "is there already"),
        (("1", "--out", "photo.jpg/bag"), 6, "cannot write to"),
        (("1", "--out", "photo.jpg/t.csv"), 6, "cannot write to"),
    ],
)
def test_what_cannot_be_exported(
    arguments: tuple[str, ...], code: int, said: str, shop: Path, fitup: Fitup
) -> None:
    before = sorted(path.name for path in shop.iterdir())
    found, out, err = export(fitup, *arguments)
    assert (found, out) == (code, "")
    assert said in err
    assert err.count("\n") == 1
    assert sorted(path.name for path in shop.iterdir()) == before


def test_a_bad_bag_stops_no_other(shop: Path, fitup: Fitup) -> None:
    for name in ("good", "bad"):
        assert export(fitup, "1", "--out", name)[0] == 0
    with (shop / "bad" / "data" / "entries" / "000001" / "entry.json").open("ab") as file:
        file.write(b" ")
    code, out, err = fitup("archive", "import", "bad", "nowhere", "good", "--archive", "other")
    assert code == 6
    assert "entry.json is altered" in err
    assert "nowhere is no bag" in err
    assert err.count("\n") == 2
    assert "1: 1; 0 were there before" in out


def test_checking_alone_imports_nothing(shop: Path, fitup: Fitup) -> None:
    assert export(fitup, "1", "--out", "bag")[0] == 0
    code, out, _ = fitup("archive", "import", "bag", "--check")
    assert code == 0
    assert "sound" in out
    assert "imported" not in out
    assert fitup("archive", "import", "bag")[0] == 2  # no archive was named


def test_a_photo_is_measured_again_from_a_bag_alone(
    tmp_path: Path, fitup: Fitup, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Photo to record, archive, bag, another archive, files: every number comes out the same."""
    monkeypatch.chdir(tmp_path)
    fitup("inspect", str(DEMO), "--wire", "0.9mm", "--sheet", "1.5mm", "--archive", "archive")
    assert export(fitup, "--all", "--out", "bag")[0] == 0
    assert fitup("archive", "import", "bag", "--archive", "other")[0] == 0
    assert fitup("archive", "show", "1", "--archive", "other", "--out", "out")[0] == 0
    folder = tmp_path / "out" / "entry-1"
    code, out, _ = fitup("record", "repeat", str(folder), str(folder / DEMO.name))
    assert code == 0, out

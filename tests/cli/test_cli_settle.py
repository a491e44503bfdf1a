"""`fitup settle`: readings beside a record, from the command line; and what must be refused."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from fitup.evidence import save_inspection, writing
from fitup.evidence.judged_record import read_judged
from fitup.evidence.settlement_building import Given
from fitup.evidence.settlement_file import add_settlement, read_settlements, settlement_schema_text
from fitup.evidence.subject import Filing
from fitup.verdict.feeler import FeelerReading
from tests.evidence.builders import make_inspection

Fitup = Callable[..., tuple[int, str, str]]
WHO = ("--who", "K. M.")
OUT = "--does-not-go-in"


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The same drawn joint saved at two limits: one that is exceeded, one that leaves doubt."""
    parent = tmp_path_factory.mktemp("kept")
    return {
        limit: save_inspection(make_inspection(limit=limit), parent / limit, filing=Filing(joint="J4")).folder
        for limit in ("0.9mm", "1.3mm")
    }


@pytest.fixture
def wide(kept: dict[str, Path], tmp_path: Path) -> Path:
    return Path(shutil.copytree(kept["0.9mm"], tmp_path / "wide"))


@pytest.fixture
def open_(kept: dict[str, Path], tmp_path: Path) -> Path:
    """Doubtful at about 155 mm, covered from 30 to 38 mm, glare at 190 mm; nothing over 1.3 mm."""
    return Path(shutil.copytree(kept["1.3mm"], tmp_path / "open"))


def spots(folder: Path) -> list[dict[str, Any]]:
    return list(json.loads((folder / "record.json").read_text(encoding="utf-8"))["verdict"]["spots"])


def number_of(folder: Path, state: str) -> int:
    return next(number for number, spot in enumerate(spots(folder), start=1) if spot["state"] == state)


def stored(folder: Path, number: int = 1) -> dict[str, Any]:
    return dict(json.loads((folder / f"settlement-{number:03d}.json").read_text(encoding="utf-8")))


def rewrite(path: Path, change: Callable[[dict[str, Any]], None]) -> None:
    data = json.loads(path.read_text(encoding="utf-8"))
    change(data)
    path.write_text(json.dumps(data, ensure_ascii=False, indent=1), encoding="utf-8")


def files_of(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_a_reading_becomes_a_file_and_the_record_stays(open_: Path, fitup: Fitup) -> None:
    before = files_of(open_)
    number = number_of(open_, "doubtful")
    code, out, err = fitup(
        "settle", open_, "--spot", number, "--blade", "1.26mm", OUT, *WHO, "--remark", "слева"
    )
    assert (code, err) == (4, "")
    assert "1.26 ± 0.03 mm of blades does not go in" in " ".join(out.split())
    after = files_of(open_)
    assert {name: after[name] for name in before} == before
    assert set(after) - set(before) == {"settlement-001.json"}
    one = stored(open_)
    assert one["record"]["sha256"] == hashlib.sha256(before["record.json"]).hexdigest()
    assert (one["reading"]["remark"], one["reading"]["spot"], one["who"]) == ("слева", number, "K. M.")
    assert (one["verdict"]["measured_word"], one["verdict"]["word"]) == ("gauge", "gauge")
    assert {spot["state"] for spot in one["verdict"]["spots"]} == {"unseen"}
    jsonschema.validate(one, json.loads(settlement_schema_text()))


def test_one_after_another_until_it_is_within(open_: Path, fitup: Fitup) -> None:
    codes = [
        fitup("settle", open_, "--spot", number, "--blade", "0.63mm + 0.63mm", OUT, *WHO)[0]
        for number in range(1, len(spots(open_)) + 1)
    ]
    assert codes == [4] * (len(codes) - 1) + [0]
    last = stored(open_, len(codes))
    assert last["verdict"]["word"] == "within"
    assert [one["number"] for one in last["earlier"]] == list(range(1, len(codes)))
    code, out, _ = fitup("settle", open_, "--show")
    assert code == 0
    assert "WITHIN" in out
    code, out, _ = fitup("record", "show", open_)
    assert code == 0
    assert "GAUGE" in out  # what was measured
    assert "settled with a feeler gauge: WITHIN" in out
    assert all(len(line) <= 80 for line in out.splitlines())


def test_a_blade_over_the_limit_that_goes_in_is_a_re_fixture(open_: Path, fitup: Fitup) -> None:
    code, out, _ = fitup(
        "settle", open_, "--from", "32mm", "--to", "34mm", "--blade", "1.4mm", "--goes-in", *WHO
    )
    assert code == 3
    assert "re-fixture 32.00–34.50 mm" in " ".join(out.split()) or "re-fixture 31.75" in " ".join(out.split())


def test_a_contradiction_is_loud(wide: Path, open_: Path, fitup: Fitup) -> None:
    place = ("--from", "100mm", "--to", "110mm", "--blade", "1.5mm", "--goes-in")
    code, out, _ = fitup("settle", open_, *place, *WHO)
    assert code == 3
    assert "CAREFUL" in out
    code, out, _ = fitup("settle", wide, "--from", 0, "--to", 200, "--blade", "0.85mm", OUT, *WHO)
    assert code == 3  # what was measured over stays so
    assert "CAREFUL" in out


def test_a_reading_can_be_withdrawn_and_stays_on_file(open_: Path, fitup: Fitup) -> None:
    place = ("--from", "100mm", "--to", "110mm", "--blade", "1.5mm", "--goes-in")
    assert fitup("settle", open_, *place, *WHO)[0] == 3
    assert fitup("settle", open_, "--withdraw", 1, *WHO, "--remark", "wrong joint")[0] == 4
    code, out, _ = fitup("settle", open_, "--show")
    assert code == 4
    assert "withdrawn by settlement 2" in " ".join(out.split())
    for number in (1, 2, 3):  # withdrawn, a withdrawal, not there
        code, _, err = fitup("settle", open_, "--withdraw", number, *WHO)
        assert code == 2
        assert "no reading to withdraw" in err


def test_json_is_the_file(open_: Path, fitup: Fitup) -> None:
    _, out, _ = fitup("settle", open_, "--spot", 1, "--blade", "1mm", OUT, *WHO, "--json")
    assert json.loads(out) == stored(open_)
    assert json.loads(fitup("settle", open_, "--show", "--json")[1]) == stored(open_)


def test_when_and_how_are_kept(open_: Path, fitup: Fitup) -> None:
    more = (
        "--when",
        "2026-03-04T14:30+02:00",
        "--blade-set",
        "刃组 7",
        "--blade-uncertainty",
        "0.004mm",
        "--flat",
    )
    fitup("settle", open_, "--spot", 1, "--blade", "1mm", "--goes-in", *WHO, *more)
    reading = stored(open_)["reading"]
    assert reading["read_at_utc"] == "2026-03-04T12:30:00Z"
    assert (reading["blade_set"], reading["u_blades_mm"], reading["flat"]) == ("刃组 7", 0.004, True)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--spot", 1, OUT), "which blade"),
        (("--spot", 1, "--blade", "1mm"), "what came of it"),
        (("--blade", "1mm", OUT), "say where"),
        (("--from", "3mm", "--blade", "1mm", OUT), "say where"),
        (("--spot", 99, "--blade", "1mm", OUT), "not spot 99"),
        (("--spot", 0, "--blade", "1mm", OUT), "not spot 0"),
        (("--spot", 1, "--blade", "0mm", OUT), "greater than zero"),
        (("--spot", 1, "--blade=-1mm", OUT), "greater than zero"),
        (("--spot", 1, "--blade", "5m", OUT), "cannot be read"),
        (("--spot", 1, "--blade", "5000mm", OUT), "check the unit"),
        (("--from", "9mm", "--to", "8mm", "--blade", "1mm", OUT), "turn them round"),
        (("--from", "900mm", "--to", "910mm", "--blade", "1mm", OUT), "outside the joint"),
        (("--spot", 1, "--blade", "1mm", OUT, "--when", "yesterday"), "--when must be"),
        (("--spot", 1, "--blade", "1mm", OUT, "--when", "2999-01-01"), "future"),
        (("--spot", 1, "--blade", "1mm", OUT, "--blade-uncertainty", "3mm"), "uncertainty must be"),
        (("--spot", 1, "--blade", "1mm", OUT, "--remark", "x" * 501), "shorten"),
        (("--withdraw", 1, "--blade", "1mm"), "no new one"),
        (("--show", "--blade", "1mm"), "only shows"),
    ],
)
def test_what_cannot_be_is_refused_in_one_sentence(
    open_: Path, fitup: Fitup, words: tuple[object, ...], said: str
) -> None:
    code, out, err = fitup("settle", open_, *words, *WHO)
    assert (code, out) == (2, "")
    assert said in err
    assert err.count("\n") == 1
    assert not list(open_.glob("settlement-*"))


def test_nobody_is_nobody(open_: Path, fitup: Fitup) -> None:
    code, _, err = fitup("settle", open_, "--spot", 1, "--blade", "1mm", OUT)
    assert code == 2
    assert "who took the reading" in err


# ---------------------------------------------------------------------------------- hostile files and folders


def settled_twice(folder: Path, fitup: Fitup) -> None:
    for number in (1, 2):
        fitup("settle", folder, "--spot", number, "--blade", "1.26mm", OUT, *WHO)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda data: data["record"].update(sha256="0" * 64), "another record"),
        (lambda data: data["verdict"].update(word="within"), "another verdict"),
        (lambda data: data["reading"].update(goes_in=True), "another verdict"),
        (lambda data: data["reading"].update(end_mm=1e9), "another verdict"),
        (lambda data: data["reading"].update(start_mm=1e9), "no such reading is possible"),
        (lambda data: data.update(reading=None), "altered"),
        (lambda data: data.update(schema_version=9), "version 9"),
        (lambda data: data.update(number=7), "altered or exchanged"),
        (lambda data: data.update(more=1), "altered"),
    ],
)
def test_a_settlement_edited_by_hand_is_told(
    open_: Path, fitup: Fitup, change: Callable[[dict[str, Any]], None], said: str
) -> None:
    fitup("settle", open_, "--spot", 1, "--blade", "1.26mm", OUT, *WHO)
    rewrite(open_ / "settlement-001.json", change)
    for words in (("--show",), ("--spot", 2, "--blade", "1.26mm", OUT, *WHO)):
        code, _, err = fitup("settle", open_, *words)
        assert code == 6
        assert said in err
        assert err.count("\n") == 1


def test_an_earlier_one_that_was_changed_without_changing_the_verdict_is_told(
    open_: Path, fitup: Fitup
) -> None:
    settled_twice(open_, fitup)
    rewrite(open_ / "settlement-001.json", lambda data: data.update(who="nobody"))
    code, _, err = fitup("settle", open_, "--show")
    assert code == 6
    assert "altered or exchanged" in err


def test_a_missing_one_is_told(open_: Path, fitup: Fitup) -> None:
    settled_twice(open_, fitup)
    (open_ / "settlement-001.json").unlink()
    code, _, err = fitup("settle", open_, "--show")
    assert code == 6
    assert "settlement 1 is missing" in err


def test_a_record_touched_afterwards_is_told(open_: Path, fitup: Fitup) -> None:
    settled_twice(open_, fitup)
    rewrite(open_ / "record.json", lambda data: data["filing"].update(joint="J5"))
    code, _, err = fitup("settle", open_, "--show")
    assert code == 6
    assert "another record" in err


@pytest.mark.parametrize(
    "spoil",
    [
        lambda path: path.write_bytes(path.read_bytes()[: path.stat().st_size // 2]),
        lambda path: path.write_bytes(b""),
        lambda path: path.write_bytes(b"\xff\xfe{}"),
        lambda path: rewrite(path, lambda data: data.update(schema_version=999)),
        lambda path: path.unlink(),
    ],
)
def test_a_broken_record_is_refused_before_anything_is_written(
    open_: Path, fitup: Fitup, spoil: Callable[[Path], object]
) -> None:
    spoil(open_ / "record.json")
    code, out, err = fitup("settle", open_, "--spot", 1, "--blade", "1.26mm", OUT, *WHO)
    assert (code, out) == (6, "")
    assert err.count("\n") == 1
    assert not list(open_.glob("settlement-*"))


def test_a_settlement_is_no_record(open_: Path, fitup: Fitup) -> None:
    fitup("settle", open_, "--spot", 1, "--blade", "1.26mm", OUT, *WHO)
    code, _, err = fitup("settle", open_ / "settlement-001.json", "--show")
    assert code == 2
    assert "is a settlement, not a record" in err


def test_a_full_disk_leaves_nothing(open_: Path, fitup: Fitup, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    before = files_of(open_)
    monkeypatch.setattr(writing.os, "fsync", full)
    code, _, err = fitup("settle", open_, "--spot", 1, "--blade", "1.26mm", OUT, *WHO)
    assert code == 6
    assert "no space left" in err
    assert "--out" not in err
    assert files_of(open_) == before


def test_a_folder_that_may_not_be_written_is_told(
    open_: Path, fitup: Fitup, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(**_: object) -> None:
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr(writing.tempfile, "mkstemp", refuse)
    code, _, err = fitup("settle", open_, "--spot", 1, "--blade", "1.26mm", OUT, *WHO)
    assert code == 6
    assert "read-only file system; make its folder writable, or work on a copy" in err


def test_a_disk_without_second_names_takes_the_file_too(
    open_: Path, fitup: Fitup, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise OSError(1, "Operation not permitted")

    monkeypatch.setattr(Path, "hardlink_to", refuse)
    settled_twice(open_, fitup)
    assert len(read_settlements(read_judged(str(open_))).records) == 2


def test_many_at_once_overwrite_nothing(open_: Path) -> None:
    """Every one ends up on file, each building on those before it."""
    judged = read_judged(str(open_))

    def add(index: int) -> int:
        reading = FeelerReading(blades_mm=(1.0,), goes_in=False, start_mm=150.0, end_mm=160.0 + index)
        add_settlement(judged, Given(reading=reading), Filing(who=f"person {index}"))
        return index

    with ThreadPoolExecutor(6) as pool:
        list(pool.map(add, range(6)))
    settlements = read_settlements(judged)
    assert sorted(one.who for one in settlements.records) == [f"person {index}" for index in range(6)]


def test_measuring_again_leaves_what_was_settled_alone(tmp_path: Path, fitup: Fitup) -> None:
    """The photo inspected once more replaces its folder, but not where a person has added a reading."""
    first = save_inspection(make_inspection(limit="1.3mm"), tmp_path / "out").folder
    assert save_inspection(make_inspection(limit="1.3mm"), tmp_path / "out").folder == first
    fitup("settle", first, "--spot", 1, "--blade", "1.26mm", OUT, *WHO)
    again = save_inspection(make_inspection(limit="1.3mm"), tmp_path / "out").folder
    assert again != first
    assert (first / "settlement-001.json").is_file()
    assert fitup("settle", first, "--show")[0] == 4


def drawn_pair_of_sides(folder: Path, fitup: Fitup) -> str:
    from tests.drawn_joint import save
    from tests.test_sides import SCENES

    for name, scene in (("a", "hi-lo strip"), ("b", "hi-lo beyond")):
        save(SCENES[scene], folder / f"{name}.jpg")
    wire = ("--wire", "0.9mm", "--sheet", "1.5mm", "--joint", "J8")
    assert fitup("sides", folder / "a.jpg", folder / "b.jpg", *wire)[0] in (0, 3, 4)
    return "fitup-results/J8"


def drawn_seam(folder: Path, fitup: Fitup) -> str:
    from tests.drawn_seam import SHOTS, save_shot

    save_shot(SHOTS["b"], folder / "b.jpg")
    fitup("seam", folder / "b.jpg", "--strips", "11-12", "--wire", "0.9mm", "--joint", "J7")
    return "fitup-results/J7"


@pytest.mark.parametrize(("kind", "draw"), [("sides", drawn_pair_of_sides), ("seam", drawn_seam)])
def test_records_of_several_photos_are_settled_and_compared_too(
    tmp_path: Path, fitup: Fitup, kind: str, draw: Callable[[Path, Fitup], str]
) -> None:
    folder = draw(tmp_path, fitup)
    joint = read_judged(folder).joint
    start, end = joint.cell_start_mm[0], joint.cell_end_mm[-1]
    place = (f"--from={start}mm", f"--to={end}mm")
    code, _, err = fitup("settle", folder, *place, "--blade", "2mm", "--goes-in", *WHO)
    assert (code, err) == (3, "")
    one = stored(Path(folder))
    assert one["record"]["kind"] == kind
    assert one["verdict"]["word"] == "re-fixture"
    assert fitup("record", "show", folder)[0] == 0
    code, out, _ = fitup("compare", folder, folder, "--anyway")
    assert code == 3
    assert "the same photo" in " ".join(out.split())


def test_the_schema_is_published_as_it_is(fitup: Fitup) -> None:
    from fitup.evidence.settlement_file import SETTLEMENT_SCHEMA_FILE

    assert SETTLEMENT_SCHEMA_FILE.read_text(encoding="utf-8") == settlement_schema_text()
    assert json.loads(fitup("schema", "--settlement")[1]) == json.loads(settlement_schema_text())
    assert fitup("schema", "--settlement", "--seam")[0] == 2

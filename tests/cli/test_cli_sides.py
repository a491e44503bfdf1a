"""`fitup sides` from end to end: results, exit codes, wrong arguments, records again."""

from __future__ import annotations

import csv
import hashlib
import json
import shutil
from collections.abc import Callable
from pathlib import Path

import jsonschema
import pytest

from fitup.errors import StorageError
from fitup.evidence.record_file import model_to_json
from fitup.evidence.several import record_kind
from fitup.evidence.sides_saving import SIDES_SCHEMA_FILE, read_sides_record, sides_schema_text
from tests.drawn_joint import save
from tests.test_sides import SCENES

Run = Callable[..., tuple[int, str, str]]
WIRE = ("--wire", "0.9mm", "--sheet", "1.5mm")


@pytest.fixture(scope="module")
def drawn_photos(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Photos of one joint from both sides, one more from the same side, and others that do not belong."""
    folder = tmp_path_factory.mktemp("photos")
    for name, scene in (
        ("a", "hi-lo strip"),
        ("b", "hi-lo beyond"),
        ("near", "level beyond"),
        ("too", "level beyond too"),
        ("other", "level strip 2"),
        ("level", "level strip"),
        ("moved", "moved beyond"),
    ):
        save(SCENES[scene], folder / f"{name}.jpg")
    return folder


@pytest.fixture
def photos(drawn_photos: Path, tmp_path: Path) -> Path:
    """The same in a folder of their own, beside nothing else."""
    return Path(shutil.copytree(drawn_photos, tmp_path / "photos"))


def test_one_result_for_both_photos(fitup: Run, photos: Path) -> None:
    arguments = ("sides", photos / "b.jpg", photos / "a.jpg", *WIRE, "--joint", "J8", "--who", "A. Fitter")
    code, out, err = fitup(*arguments)
    assert (code, err) == (0, "")
    for words in ("WITHIN", "a.jpg and b.jpg", "from the strip's side", "from beyond the joint", "step +0."):
        assert words in out
    assert max(len(line) for line in out.splitlines()) <= 80
    folder = photos.parent / "fitup-results" / "J8"
    assert sorted(path.name for path in folder.iterdir()) == [
        "overlay-1-a.jpg",
        "overlay-2-b.jpg",
        "profile.csv",
        "profile.png",
        "record.json",
    ]
    record = read_sides_record(folder / "record.json")
    assert [one.photo.sha256 for one in record.photos] == [
        hashlib.sha256((photos / name).read_bytes()).hexdigest() for name in ("a.jpg", "b.jpg")
    ]
    assert record.step is not None
    assert record.judged is None
    assert record.photos[0].view_deg < 0 < record.photos[1].view_deg
    assert {line.name for line in record.photos[0].budget} >= {"step between plates", "tone curve"}
    assert model_to_json(record) == (folder / "record.json").read_text(encoding="utf-8")
    jsonschema.Draft202012Validator(json.loads(sides_schema_text())).validate(record.model_dump(mode="json"))


def test_the_table_holds_both_apparent_gaps_gap_and_step(fitup: Run, photos: Path) -> None:
    fitup("sides", photos / "a.jpg", photos / "b.jpg", *WIRE, "--out", "o")
    with Path("o/a-sides/profile.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) > 400
    for row in rows[5:-5:50]:
        first, second = (float(row[f"apparent_gap_{k}_mm"]) for k in (1, 2))
        tangents = [float(row[f"view_tangent_{k}"]) for k in (1, 2)]
        step = float(row["step_mm"])
        assert step == pytest.approx((second - first) / (tangents[0] - tangents[1]), abs=1e-3)
        assert float(row["gap_mm"]) == pytest.approx(first + step * tangents[0], abs=1e-3)
        assert float(row["u_step_mm"]) > 0


def test_record_is_shown_and_repeated_bit_for_bit(fitup: Run, photos: Path) -> None:
    fitup("sides", photos / "a.jpg", photos / "b.jpg", *WIRE, "--out", "o")
    code, out, _ = fitup("record", "show", "o/a-sides")
    assert code == 0
    assert "from beyond the joint" in out
    code, out, _ = fitup("record", "show", "o/a-sides", "--json")
    assert json.loads(out)["kind"] == "sides"
    code, out, _ = fitup("record", "repeat", "o/a-sides", photos / "b.jpg", photos / "a.jpg")
    assert (code, "bit for bit" in out) == (0, True)
    assert fitup("record", "repeat", "o/a-sides", photos / "a.jpg")[0] == 2
    code, _, err = fitup("record", "repeat", "o/a-sides", photos / "near.jpg", photos / "level.jpg")
    assert (code, "photos of the record" in err) == (2, True)
    # The same photos replace the earlier results.
    fitup("sides", photos / "b.jpg", photos / "a.jpg", "--wire", "1.2mm", "--out", "o")
    assert [path.name for path in Path("o").iterdir()] == ["a-sides"]


def test_a_step_that_cannot_be_told_is_one_sentence_and_still_a_result(fitup: Run, photos: Path) -> None:
    arguments = ("sides", photos / "near.jpg", photos / "too.jpg", *WIRE, "--out", "o")
    code, out, err = fitup(*arguments)
    assert err == ""
    assert code in (0, 4)
    assert "not measurable in these photos" in " ".join(out.split())
    (folder,) = Path("o").iterdir()
    record = read_sides_record(folder / "record.json")
    assert record.step is None
    assert record.judged in (0, 1)
    assert record.not_measurable is not None
    assert "15 degrees" in record.not_measurable
    again = ("record", "repeat", folder, photos / "near.jpg", photos / "too.jpg")
    assert fitup(*again)[0] == 0


def test_json_is_one_line(fitup: Run, photos: Path) -> None:
    code, out, _ = fitup("sides", photos / "a.jpg", photos / "b.jpg", *WIRE, "--json", "--no-files")
    (line,) = out.splitlines()
    found = json.loads(line)
    assert found["exit_code"] == code == 0
    assert found["record"]["kind"] == "sides"
    assert found["folder"] is None


@pytest.mark.parametrize(
    ("names", "expected", "words"),
    [
        (("a", "other"), 2, "same strip"),
        (("a",), 2, "two photos"),
        (("a", "b", "near"), 2, "two photos"),
        (("level", "moved"), 5, "disagree"),
        (("a", "gone"), 2, "gone.jpg"),
    ],
    ids=["strips", "one", "three", "moved", "missing"],
)
def test_photos_that_do_not_go_together_are_one_sentence(
    fitup: Run, photos: Path, names: tuple[str, ...], expected: int, words: str
) -> None:
    code, out, err = fitup("sides", *(photos / f"{name}.jpg" for name in names), *WIRE)
    assert (code, out) == (expected, "")
    assert len(err.splitlines()) == 1
    assert words in err
    assert not list(Path("fitup-results").glob("*"))


@pytest.mark.parametrize(
    "arguments",
    [["--joint-kind", "lap"], ["--from", "50mm", "--to", "20mm"], ["--wire", "x"], ["--points", "1,1 2,2"]],
    ids=" ".join,
)
def test_wrong_arguments_are_one_sentence_and_code_2(fitup: Run, photos: Path, arguments: list[str]) -> None:
    code, out, err = fitup("sides", photos / "a.jpg", photos / "b.jpg", *WIRE, "--no-files", *arguments)
    assert (code, out) == (2, "")
    assert len(err.splitlines()) == 1


def test_published_schema_is_that_of_the_model(fitup: Run) -> None:
    assert SIDES_SCHEMA_FILE.read_text(encoding="utf-8") == sides_schema_text()
    code, out, _ = fitup("schema", "--sides")
    assert code == 0
    assert json.loads(out) == json.loads(sides_schema_text())
    assert fitup("schema", "--sides", "--seam")[0] == 2


def test_damaged_records_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "record.json"
    path.write_text('{"schema_version": 1, "kind": "sides"}')
    assert record_kind(path) == "sides"
    with pytest.raises(StorageError, match="damaged"):
        read_sides_record(path)
    path.write_text('{"schema_version": 1, "kind": 7}')
    assert record_kind(path) is None

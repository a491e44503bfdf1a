"""`fitup compare`: two records of one joint, from the command line; and what must be refused."""

from __future__ import annotations

import io
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from PIL import Image

from fitup.evidence import save_inspection, writing
from fitup.evidence.comparison_building import (
    COMPARISON_SCHEMA_FILE,
    compare_records,
    comparison_schema_text,
)
from fitup.evidence.comparison_plot import comparison_png
from fitup.evidence.judged_record import read_judged
from fitup.evidence.settlement_file import read_settlements
from fitup.evidence.subject import Filing
from tests.evidence.builders import NOON, make_inspection

Fitup = Callable[..., tuple[int, str, str]]


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return save_inspection(
        make_inspection(), tmp_path_factory.mktemp("kept"), filing=Filing(joint="J4", clock=lambda: NOON)
    ).folder


@pytest.fixture
def both(kept: Path, tmp_path: Path) -> tuple[Path, Path]:
    """The drawn joint with two openings, and the same with one of them closed, as another photo."""
    before, after = (Path(shutil.copytree(kept, tmp_path / name)) for name in ("before", "after"))
    rewrite(after, closed)
    return before, after


def closed(data: dict[str, Any]) -> None:
    """Everything from 100 to 180 mm is tight now; the photo is another one."""
    data["photo"]["sha256"] = "b" * 64
    for at in data["profile"]["stations"]:
        if 100 <= at["station_mm"] <= 180:
            at.update(gap_mm=0.4, state="within")
    data["verdict"]["word"] = "gauge"  # some doubt at 88 mm and a covered place are left
    data["verdict"]["spots"] = [s for s in data["verdict"]["spots"] if not 100 <= s["start_mm"] <= 180]


def rewrite(folder: Path, change: Callable[[dict[str, Any]], None]) -> None:
    path = folder / "record.json"
    data = json.loads(path.read_text(encoding="utf-8"))
    change(data)
    path.write_text(json.dumps(data, ensure_ascii=False, indent=1), encoding="utf-8")


def test_closed_and_left_are_told(both: tuple[Path, Path], fitup: Fitup) -> None:
    before, after = both
    code, out, err = fitup("compare", before, after)
    words = " ".join(out.split())
    assert (code, err) == (4, "")
    assert "1 spot" not in words
    assert "closed" in words
    assert "remains" in words
    assert "not checked" in words  # that both datum marks lay at the same place
    assert all(len(line) <= 80 for line in out.splitlines())
    data = json.loads(fitup("compare", before, after, "--json")[1])
    jsonschema.validate(data, json.loads(comparison_schema_text()))
    fates = {(round(spot["start_mm"]), spot["fate"]) for spot in data["spots"]}
    assert all((fate == "closed") == (start >= 140 and start < 180) for start, fate in fates)
    widest = min(change["change_mm"] for change in data["changes"] if change["change_mm"] is not None)
    assert widest == pytest.approx(0.4 - 1.31, abs=0.03)


def test_the_exit_code_is_that_of_the_verdict_after(kept: Path, tmp_path: Path, fitup: Fitup) -> None:
    fine = save_inspection(make_inspection(limit="1.6mm", unseen=False, name="b.png"), tmp_path / "x").folder
    rewrite(fine, lambda data: data["photo"].update(sha256="c" * 64))
    assert fitup("compare", kept, fine)[0] == 0
    code, out, _ = fitup("compare", fine, kept)
    assert code == 3
    assert "new" in out
    assert "the limit was 1.60 mm and is 0.90 mm" in " ".join(out.split())
    assert "the wire was 1.6 mm" in " ".join(out.split())


def test_the_folder_holds_data_and_a_picture(both: tuple[Path, Path], tmp_path: Path, fitup: Fitup) -> None:
    out = tmp_path / "out"
    for _ in range(2):  # the second replaces the first
        assert fitup("compare", *both, "--out", out, "--who", "K. M.")[0] == 4
    assert [path.name for path in out.iterdir()] == ["J4-compared"]
    assert {path.name for path in (out / "J4-compared").iterdir()} == {"comparison.json", "comparison.png"}
    assert json.loads((out / "J4-compared" / "comparison.json").read_text(encoding="utf-8"))["who"] == "K. M."
    assert Image.open(out / "J4-compared" / "comparison.png").size == (1650, 990)


def test_the_picture_is_the_same_every_time_and_reads_in_grey(both: tuple[Path, Path]) -> None:
    compared = compare_records(*(read_settlements(read_judged(str(folder))) for folder in both))
    first, second = comparison_png(compared, "a $caption$ 接"), comparison_png(compared, "a $caption$ 接")
    assert first == second
    grey = np.asarray(Image.open(io.BytesIO(first)).convert("L"))
    assert {0, 255} <= set(np.unique(grey).tolist())
    assert np.mean(grey < 128) > 0.005


def test_settled_places_count(both: tuple[Path, Path], fitup: Fitup) -> None:
    before, after = both
    place = ("--from", "29mm", "--to", "39mm", "--blade", "0.8mm", "--does-not-go-in", "--who", "K. M.")
    assert fitup("settle", after, *place)[0] == 4
    data = json.loads(fitup("compare", before, after, "--json")[1])
    (covered,) = [spot for spot in data["spots"] if spot["start_mm"] == 29.75]
    assert (covered["fate"], covered["state"], covered["now"]) == ("closed", "unseen", "within")
    assert data["after"]["settlements"] == 1


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda data: data["filing"].update(joint="J5"), "of joint J4 and of joint J5"),
        (lambda data: data["request"].update(joint_kind="tee"), "tee"),
        (lambda data: data["photo"].update(sha256=None), None),
    ],
)
def test_other_joints_are_refused_but_for_anyway(
    both: tuple[Path, Path], fitup: Fitup, change: Callable[[dict[str, Any]], None], said: str | None
) -> None:
    before, after = both
    rewrite(after, change)
    code, out, err = fitup("compare", before, after)
    assert out == ""
    assert err.count("\n") == 1
    if said is None:
        assert code == 6
        return
    assert code == 2
    assert said in err
    code, out, _ = fitup("compare", before, after, "--anyway")
    assert code == 4
    assert said in " ".join(out.split())


def test_the_same_photo_twice_is_refused(both: tuple[Path, Path], fitup: Fitup) -> None:
    code, _, err = fitup("compare", both[0], both[0])
    assert code == 2
    assert "the same photo" in err


def test_the_wrong_way_round_is_remarked(both: tuple[Path, Path], fitup: Fitup) -> None:
    before, after = both
    rewrite(after, lambda data: data["filing"].update(filed_at_utc="2026-03-03T00:00:00Z"))
    assert "the wrong way round?" in " ".join(fitup("compare", before, after)[1].split())


def test_a_shift_moves_places_and_is_told(both: tuple[Path, Path], fitup: Fitup) -> None:
    data = json.loads(fitup("compare", *both, "--shift", "12mm", "--json")[1])
    assert data["shift_mm"] == 12.0
    assert data["changes"][0]["place_mm"] == 12.0
    assert any("12 mm was added" in remark for remark in data["remarks"])
    for shift, said in (
        ("9000mm", "no place of the joint in common"),
        ("-9in in", "cannot be read"),
        ("", "empty"),
    ):
        code, _, err = fitup("compare", *both, f"--shift={shift}")
        assert code == 2
        assert said in err


def test_one_print_check_for_both_makes_the_change_surer(both: tuple[Path, Path], fitup: Fitup) -> None:
    def widest(data: dict[str, Any]) -> float:
        return max(change["u_change_mm"] for change in data["changes"] if change["u_change_mm"] is not None)

    alone = json.loads(fitup("compare", *both, "--json")[1])
    check = {
        "number": "P-1", "date": "2026-03-01", "instrument": "caliper 7", "strip": "1",
        "u_instrument_mm": 0.02,
        "along_mm": 140.0, "across_mm": 140.0, "nominal_along_mm": 140.0, "nominal_across_mm": 140.0,
        "along_factor": 1.0, "across_factor": 1.0, "u_relative": 0.01,
    }  # fmt: skip
    for folder in both:
        rewrite(folder, lambda data: data["scale"].update(print_check=check))
    shared = json.loads(fitup("compare", *both, "--json")[1])
    assert "P-1" in shared["shared_print"]
    assert "nothing is taken as shared" in alone["shared_print"]
    assert widest(shared) < widest(alone)


def test_a_correction_in_one_of_them_is_told(both: tuple[Path, Path], fitup: Fitup) -> None:
    check = {
        "number": "P-7", "date": "2026-01-10", "instrument": "C-12", "strip": "", "u_instrument_mm": 0.02,
        "along_mm": 140.1, "across_mm": 139.9, "nominal_along_mm": 140.0, "nominal_across_mm": 140.0,
        "along_factor": 140.1 / 140, "across_factor": 139.9 / 140, "u_relative": 4e-4,
    }  # fmt: skip
    correction = {
        "intercept_mm": 0.01, "slope": 1.01, "u_intercept_mm": 0.003, "u_slope": 0.004, "covariance_mm": 0.0,
        "low_mm": 0.1, "high_mm": 1.2, "accepted_by": "K. M.", "accepted_on": "2026-01-11",
        "method": "least squares", "references": "", "readings_sha256": "0" * 64, "phone": "",
    }  # fmt: skip
    for folder, fix in zip(both, (None, correction), strict=True):
        rewrite(folder, lambda data, fix=fix: data["scale"].update(print_check={**check, "correction": fix}))
    assert "correct the gap differently" in " ".join(fitup("compare", *both)[1].split())
    rewrite(both[1], lambda data: data["scale"]["print_check"].update(correction=None))
    assert "correct the gap differently" not in " ".join(fitup("compare", *both)[1].split())


@pytest.mark.parametrize("index", [0, 1])
@pytest.mark.parametrize(
    "spoil",
    [
        lambda path: path.write_bytes(path.read_bytes()[:1000]),
        lambda path: path.write_bytes(b"[" * 100_000),
        lambda path: path.unlink(),
    ],
)
def test_a_broken_record_is_refused(
    both: tuple[Path, Path], tmp_path: Path, fitup: Fitup, index: int, spoil: Callable[[Path], object]
) -> None:
    spoil(both[index] / "record.json")
    code, out, err = fitup("compare", *both, "--out", tmp_path / "out")
    assert (code, out) == (6, "")
    assert err.count("\n") == 1
    assert not list((tmp_path / "out").glob("*")) if (tmp_path / "out").exists() else True


def test_a_full_disk_leaves_nothing(
    both: tuple[Path, Path], tmp_path: Path, fitup: Fitup, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(writing.os, "fsync", full)
    code, _, err = fitup("compare", *both, "--out", tmp_path / "out")
    assert code == 6
    assert "no space left" in err
    assert list((tmp_path / "out").iterdir()) == []


def test_the_schema_is_published_as_it_is(fitup: Fitup) -> None:
    assert COMPARISON_SCHEMA_FILE.read_text(encoding="utf-8") == comparison_schema_text()
    assert json.loads(fitup("schema", "--comparison")[1]) == json.loads(comparison_schema_text())

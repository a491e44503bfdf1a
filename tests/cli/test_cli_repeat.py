"""A record is enough to measure again, bit for bit."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., tuple[int, str, str]]

OPTIONS = {
    "plain": ["--wire", "0.9mm"],
    "everything": [
        *("--wire", "035", "--sheet", "18ga stainless", "--limit", "0.7mm", "--probability", "0.99"),
        *("--thickness", "0.15mm", "--from", "20mm", "--to", "180mm", "--print-record", "p.json"),
    ],
}


@pytest.mark.parametrize("options", OPTIONS.values(), ids=OPTIONS)
def test_measured_again_from_the_record_alone(fitup: Run, drawn: Any, options: list[str]) -> None:
    readings = [
        "--along",
        "140.3",
        "--across",
        "140.28",
        "--instrument",
        "caliper 12",
        "--date",
        "2026-02-01",
    ]
    assert fitup("target", "check", *readings, "--out", "p.json")[0] == 0
    photo = drawn("opening").path
    assert fitup("inspect", photo, *options, "--out", "o", "--who", "A")[0] == 3
    Path("p.json").unlink()
    code, out, err = fitup("record", "repeat", "o/opening", photo)
    assert (code, err) == (0, "")
    assert "bit for bit" in out


def test_a_given_path_is_measured_again(fitup: Run, drawn: Any) -> None:
    scene = drawn("opening")
    path = scene.inspection.profile.centre_px
    points = " ".join(f"{u:.2f},{v:.2f}" for u, v in path[[0, len(path) // 2, -1]])
    assert fitup("inspect", scene.path, "--wire", "0.9mm", "--points", points, "--out", "o")[0] == 3
    assert fitup("record", "repeat", "o/opening", scene.path)[0] == 0


def test_an_altered_number_is_found(fitup: Run, drawn: Any) -> None:
    photo = drawn("opening").path
    fitup("inspect", photo, "--wire", "0.9mm", "--out", "o")
    file = Path("o/opening/record.json")
    data = json.loads(file.read_text(encoding="utf-8"))
    station = next(s for s in data["profile"]["stations"] if s["gap_mm"] is not None)
    station["gap_mm"] += 0.01
    file.write_text(json.dumps(data), encoding="utf-8")
    code, out, err = fitup("record", "repeat", file, photo)
    assert (code, err) == (6, "")
    assert "profile differ" in out
    assert "0.01 mm" in out


def test_another_photo_is_refused(fitup: Run, drawn: Any) -> None:
    photo = drawn("opening").path
    fitup("inspect", photo, "--wire", "0.9mm", "--out", "o")
    shutil.copy(drawn("strong tone").path, "opening.jpg")
    code, out, err = fitup("record", "repeat", "o/opening", "opening.jpg")
    assert (code, out) == (2, "")
    assert "not the photo" in err

"""The plan of a study, and its photos to readings."""

from __future__ import annotations

import csv
import io
import shutil
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitup.errors import UsageError
from fitup.study.photo_readings import PlannedPhoto, read_photos, read_plan, readings_csv, take_reading
from fitup.study.plan import make_plan, plan_csv, plan_sheet
from fitup.study.readings import read_readings
from tests.conftest import Drawn
from tests.evidence.builders import make_profile


@settings(max_examples=40, deadline=None)
@given(st.integers(2, 12), st.integers(2, 4), st.integers(2, 4), st.integers(0, 2**32))
def test_everybody_takes_every_part_as_often_and_in_rounds(p: int, o: int, r: int, seed: int) -> None:
    parts, persons = [f"J{k}" for k in range(p)], [f"W{k}" for k in range(o)]
    plan = make_plan(parts, persons, r, seed)
    assert Counter((one.part, one.person) for one in plan.readings) == Counter(
        {(part, person): r for part in parts for person in persons}
    )
    assert [one.repeat for one in plan.readings] == sorted(one.repeat for one in plan.readings)
    assert [one.order for one in plan.readings] == list(range(1, p * o * r + 1))
    assert make_plan(parts, persons, r, seed) == plan


def test_orders_differ_between_seeds_rounds_and_persons() -> None:
    parts, persons = [f"J{k}" for k in range(10)], ["Ana", "Bo", "Cy"]
    plan = make_plan(parts, persons, 3, 7)
    runs = [tuple(one.part for one in plan.readings[k : k + 10]) for k in range(0, 90, 10)]
    assert len(set(runs)) == 9
    assert make_plan(parts, persons, 3, 8).readings != plan.readings


@pytest.mark.parametrize(
    ("parts", "persons", "repeats", "seed", "words"),
    [
        (["J1"], ["A", "B"], 3, 1, "2 to 200 parts"),
        (["J1", "J2"], [], 3, 1, "1 to 50 persons"),
        (["J1", "J2"], ["A", "B"], 1, 1, "2 to 20 repeats"),
        (["J1", "j1 "], ["A", "B"], 2, 1, "twice"),
        (["J1", " "], ["A", "B"], 2, 1, "needs a name"),
        (["J1", "J\n2"], ["A", "B"], 2, 1, "needs a name"),
        ([f"J{k}" for k in range(200)], list("ABCDE"), 3, 1, "over 2000 photos"),
        (["J1", "J2"], ["A", "B"], 2, -1, "seed"),
    ],
)
def test_plans_that_cannot_be(parts: list, persons: list, repeats: int, seed: int, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        make_plan(parts, persons, repeats, seed)


def test_csv_of_a_plan_becomes_readings_when_gaps_are_filled_in(tmp_path: Path) -> None:
    plan = make_plan(["J1", "J2; open", 'J"3'], ["Ana", "Bo"], 2, 5)
    rows = list(csv.DictReader(io.StringIO(plan_csv(plan).decode())))
    assert [row["part"] for row in rows] == [one.part for one in plan.readings]
    for k, row in enumerate(rows):
        row["gap_mm"] = f"{0.3 + 0.01 * k}"
    with (tmp_path / "plan.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)
    assert read_readings(tmp_path / "plan.csv").crossed().value_mm.shape == (3, 2, 2)


def test_sheet_names_every_photo_and_what_a_small_study_lacks() -> None:
    plan = make_plan(["J1", "J2"], ["Ana", "Bo"], 2, 5)
    report = plan_sheet(plan, title="", made_at=datetime(2026, 5, 11, tzinfo=UTC), csv_name="plan.csv")
    tables = [
        block for section in report.sheets[0].sections for block in section.blocks if hasattr(block, "heads")
    ]
    assert [row[0] for table in tables for row in table.rows] == [str(k) for k in range(1, 9)]
    assert "small study" in plan.remarks[0]
    assert not make_plan([f"J{k}" for k in range(10)], ["A", "B", "C"], 3, 1).remarks
    assert "bias study" in make_plan(["0.10mm", "0.30mm"], ["A"], 2, 1).remarks[0]


# --------------------------------------------------------------------------------------- photos to readings


def test_largest_and_mean_of_a_profile() -> None:
    profile = make_profile(unseen=False)
    gap, u, place = take_reading(profile, "largest")
    k = int(np.argmax(profile.gap_mm))
    assert (gap, u, place) == (profile.gap_mm[k], profile.u_gap_mm[k], profile.station_mm[k])
    mean, u_mean, middle = take_reading(profile, "mean")
    assert mean == pytest.approx(profile.gap_mm.mean())
    assert middle == pytest.approx(105.0)
    common = np.sqrt(sum(row.u_mm.mean() ** 2 for row in profile.budget if row.common))
    assert common <= u_mean < profile.u_gap_mm.max()


def test_too_little_seen_gives_no_reading() -> None:
    part = make_profile().part(slice(40, 100))  # 30 to 38 mm of it are covered
    with pytest.raises(UsageError, match="was seen"):
        take_reading(part, "mean")
    assert take_reading(part, "largest")[0] > 0
    covered = make_profile().part(slice(62, 74))
    with pytest.raises(UsageError, match="only 0 %"):
        take_reading(covered, "largest")


PLAN = "part,person,repeat,photo\n"


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ("J1,Ana,1,\n", "names no photo"),
        ("J1,Ana,1,a.jpg\nJ2,Ana,1,A.jpg\n", "line 3: photo 'A.jpg' stands in line 2"),
        ("", "0 readings"),
    ],
)
def test_plans_that_cannot_be_read(tmp_path: Path, rows: str, words: str) -> None:
    (tmp_path / "plan.csv").write_text(PLAN + rows, encoding="utf-8")
    with pytest.raises(UsageError, match=words):
        read_plan(tmp_path / "plan.csv")


def test_no_largest_gap_where_it_may_be_unseen(drawn: Callable[[str], Drawn]) -> None:
    scene = drawn("opening")  # covered from 40 to 44 mm
    planned = [PlannedPhoto(part="J1", person="Ana", repeat="1", photo=scene.path.name, line=2)]
    asked = replace(scene.inspection.settings, from_mm=36.0, to_mm=48.0)
    (found,) = read_photos(planned, scene.path.parent, lambda _: asked, "largest")
    assert "% of the stretch was seen" in str(found.fault)


def test_photos_of_a_plan(drawn: Callable[[str], Drawn], tmp_path: Path) -> None:
    scene = drawn("opening")
    shutil.copy(scene.path, tmp_path / "IMG_1.jpg")
    (tmp_path / "IMG_2.jpg").write_bytes(b"no photo")
    (tmp_path / "IMG_3.jpg").write_bytes(b"")
    (tmp_path / "IMG_3.png").write_bytes(b"")
    planned = [
        PlannedPhoto(part="J1", person="Ana", repeat="1", photo=name, line=k + 2)
        for k, name in enumerate(("img_1", "IMG_2.jpg", "IMG_3", "IMG_4", "../IMG_1.jpg"))
    ]
    asked = replace(scene.inspection.settings, from_mm=100.0, to_mm=140.0)
    found = list(read_photos(planned, tmp_path, lambda _: asked, "largest"))
    assert [one.fault is None for one in found] == [True, False, False, False, True]
    assert found[0].gap_mm == pytest.approx(1.2, abs=0.05)
    assert found[0].place_mm == pytest.approx(120, abs=2)
    assert "several endings" in str(found[2].fault)
    assert "not in the folder" in str(found[3].fault)
    rows = list(csv.DictReader(io.StringIO(readings_csv(found).decode())))
    assert len(rows) == 2
    assert rows[0]["sha256"] == scene.inspection.photo.sha256
    assert float(rows[0]["gap_mm"]) == pytest.approx(found[0].gap_mm, abs=1e-5)

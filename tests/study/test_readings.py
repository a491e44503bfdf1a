"""Readings from tables as people make them: read rightly, or refused in one sentence."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitup.errors import UsageError
from fitup.study.readings import Readings, read_readings
from fitup.study.table_file import read_table

ROWS = [
    (part, person, repeat, round(0.2 + 0.1 * int(part) + 0.01 * int(repeat), 3))
    for part, person, repeat in itertools.product("123", ("Ana", "Bo"), "12")
]


def table(rows=ROWS, head="part,person,repeat,gap_mm", separator=",") -> str:
    lines = [head.replace(",", separator)]
    return "\n".join([*lines, *(separator.join(map(str, row)) for row in rows)]) + "\n"


def read(tmp_path: Path, text: str | bytes) -> Readings:
    path = tmp_path / "readings.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_readings(path)


PLAIN = table()


@pytest.mark.parametrize(
    "text",
    [
        PLAIN,
        "\ufeff" + PLAIN,
        PLAIN.replace("\n", "\r\n"),
        PLAIN.replace(",", ";").replace(".", ","),
        PLAIN.replace(",", "\t"),
        PLAIN.replace(",", "\t").replace(".", ","),
        "# a study\n\n" + PLAIN,
        table(head="Joint,Phone,Trial,Value"),
        table(head=" PART ,Person,Repeat,GAP mm"),
        table([(p, w, r, f'"{v}"') for p, w, r, v in ROWS]),
        table([(p, w, r, f'"{v}"'.replace(".", ",")) for p, w, r, v in ROWS]),
        table([(f" {p}", w.upper(), r, v) for p, w, r, v in ROWS[:6]] + ROWS[6:]),
        table([(f"{p}.0", w, f"0{r}", v) for p, w, r, v in ROWS[:3]] + ROWS[3:]),
        table(ROWS[::-1]),
        table([(*row, "a remark; with a semicolon") for row in ROWS], "part,person,repeat,gap_mm,remark"),
    ],
)
def test_one_table_in_many_writings(tmp_path: Path, text: str) -> None:
    cross = read(tmp_path, text).crossed()
    wanted = read(tmp_path, PLAIN).crossed()
    assert cross.value_mm.shape == (3, 2, 2)
    assert np.array_equal(cross.value_mm, wanted.value_mm)
    assert cross.parts == ("1", "2", "3") or cross.parts[0].startswith("1")
    assert [name.casefold() for name in cross.persons] == ["ana", "bo"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty"),
        ("part,person,repeat,gap_mm\n", "has 0 readings"),
        (PLAIN.replace("gap_mm", "gap_in"), "no column 'gap_mm'"),
        (PLAIN.replace("part,", "thing,"), "no column 'part'"),
        (PLAIN.replace("0.31", "0,31"), "line 2: 5 fields under 4 heads"),
        (PLAIN.replace("0.31", '"0,31"'), "some numbers of 'gap_mm' with a decimal comma"),
        (PLAIN.replace("0.31", "0.31 mm"), "line 2: the reading is '0.31 mm'"),
        (PLAIN.replace("0.31", "nan"), "line 2: the reading is 'nan'"),
        (PLAIN.replace("0.31", "1e99"), "line 2: the reading is '1e99'"),
        (PLAIN.replace("0.31", "inf"), "line 2"),
        (PLAIN.replace("0.31", ""), "line 2: the reading is empty"),
        (PLAIN.replace("0.31", "1.234.5"), "line 2"),
        (PLAIN.replace("1,Ana,1,", ",Ana,1,"), "line 2: the part is empty"),
        (PLAIN.encode("utf-16"), "no UTF-8 text"),
        (PLAIN.replace("Ana", "Ána").encode("latin-1"), "no UTF-8 text"),
        (PLAIN.replace("Ana", "A\0na"), "no UTF-8 text"),
        (PLAIN.replace("Ana", '"A\nna"'), "line break"),
        (PLAIN.replace("1,Ana", '"1,Ana'), "no CSV|fields|line break"),
        (table([(*row, row[3]) for row in ROWS], "part,person,repeat,gap_mm,value"), "mean the same"),
        (b"PK\x03\x04" + bytes(range(256)), "no UTF-8 text"),
        (b"x" * 20_000_001, "over 20 MB"),
        ("part,person,repeat,gap_mm\n" + "1,A,1,0.5\n" * 200_001, "over 200000 lines"),
    ],
)
def test_broken_tables_are_refused(tmp_path: Path, text: str | bytes, words: str) -> None:
    with pytest.raises(UsageError, match=words) as told:
        read(tmp_path, text)
    assert "\n" not in str(told.value)
    assert len(str(told.value)) < 400


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    for name in (tmp_path / "no.csv", tmp_path, tmp_path / "a\0b"):
        with pytest.raises(UsageError, match="cannot be read"):
            read_readings(name)


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (ROWS[:-1], r"readings are missing \(part 3 by Bo: 1 of 2\)"),
        (ROWS[:-4], r"readings are missing \(part 3 by Ana: 0 of 2|1 part|missing"),
        ([row for row in ROWS if row[1] == "Ana"], "has 1 person or phone only"),
        ([row for row in ROWS if row[0] == "1"], "has 1 part only"),
        ([row for row in ROWS if row[2] == "1"], "every part once by every person"),
        ([*ROWS, ROWS[0]], "part 1, person Ana, repeat 1 stands there 2 times"),
        ([*ROWS, ("1", " ana ", "01", 0.9)], "stands there 2 times"),
        ([*ROWS, ("4", "Ana", "1", 0.9)], "part 4 by Ana: 1 of 2; part 4 by Bo: 0 of 2"),
        ([*ROWS, ("1", "Ana", "3", 0.9)], "missing"),
        ([(str(k), "Ana", "1", 0.5) for k in range(501)] + [("1", "Bo", "1", 0.5)], "right column"),
    ],
)
def test_what_is_no_full_cross_is_refused(tmp_path: Path, rows: list, words: str) -> None:
    if len(rows) == len(ROWS) - 4:
        assert read(tmp_path, table(rows)).crossed().value_mm.shape == (2, 2, 2)  # the third part is left out
        return
    with pytest.raises(UsageError, match=words):
        read(tmp_path, table(rows)).crossed()


def test_repeats_may_be_numbered_on(tmp_path: Path) -> None:
    rows = [(p, w, k, v) for k, (p, w, _, v) in enumerate(ROWS)]
    assert read(tmp_path, table(rows)).crossed().value_mm.shape == (3, 2, 2)


def test_readings_made_by_hand_are_checked_too() -> None:
    good = {"value_mm": np.array([0.1, 0.2]), "part": ("1", "2"), "person": ("A", "A"), "repeat": ("1", "1")}
    assert Readings(**good).value_mm.shape == (2,)
    for change in (
        {"part": ("1",)},
        {"person": ("A", " ")},
        {"value_mm": np.array([0.1, np.nan])},
        {"value_mm": np.array([0.1, np.inf])},
    ):
        with pytest.raises(UsageError):
            Readings(**{**good, **change})


def test_days_are_told_where_the_table_has_them(tmp_path: Path) -> None:
    rows = [(*row, f"2026-05-1{k % 3}T09:00:00+02:00") for k, row in enumerate(ROWS)]
    assert read(tmp_path, table(rows, "part,person,repeat,gap_mm,taken")).days == ("2026-05-10", "2026-05-12")


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=300) | st.text(max_size=200).map(lambda text: text.encode("utf-8", "replace")))
def test_no_bytes_crash_the_reader(tmp_path_factory: pytest.TempPathFactory, content: bytes) -> None:
    path = tmp_path_factory.getbasetemp() / "any.csv"
    path.write_bytes(content)
    try:
        found = read_table(path)
    except UsageError:
        return
    assert all(len(row) == len(found.heads) for row in found.rows)

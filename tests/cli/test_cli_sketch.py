"""The profile in characters: nothing wide is lost, the limit lies where it says."""

from __future__ import annotations

import numpy as np
import pytest

from fitup.cli.sketch import SketchInput, profile_sketch


def sketch(gap_mm: np.ndarray, limit_mm: float = 0.9, step_mm: float = 0.5, **options: int) -> list[str]:
    states = ["unseen" if np.isnan(g) else "over" if g > limit_mm else "within" for g in gap_mm]
    station_mm = step_mm * (np.arange(len(gap_mm)) + 0.5)
    shown = SketchInput(station_mm=station_mm, gap_mm=gap_mm, states=states, limit_mm=limit_mm)
    return ["".join(cell.text for cell in line) for line in profile_sketch(shown, **options)]


@pytest.mark.parametrize("place", range(0, 420, 23))
def test_one_wide_station_among_many_is_shown(place: int) -> None:
    gap = np.full(420, 0.3)
    gap[place] = 1.2
    lines = sketch(gap)
    signs = lines[-3][6:]
    assert signs.count("#") == 1
    column = signs.index("#")
    assert column == pytest.approx(place / 420 * len(signs), abs=1)
    limit_row = next(line for line in lines if line.startswith(" 0.90"))
    assert limit_row[6 + column] not in " ▁"


@pytest.mark.parametrize("largest", [0.05, 0.5, 0.89, 0.9, 0.91, 1.5, 3.0, 12.0])
def test_only_what_is_over_the_limit_rises_above_its_line(largest: float) -> None:
    gap = np.full(200, 0.02)
    gap[100] = largest
    lines = sketch(gap)
    row = next(index for index, line in enumerate(lines) if line.startswith(" 0.90"))
    above = "".join(line[6:] for line in lines[: row + 1])
    if largest <= 4.0:  # beyond, the rows are taller than the limit
        assert any(sign in above.replace("▁", "") for sign in "▂▃▄▅▆▇█") == (largest > 0.9) or largest == 0.91


def test_unseen_stretches_are_question_marks() -> None:
    gap = np.full(200, 0.3)
    gap[50:100] = np.nan
    lines = sketch(gap)
    assert lines[-3][6:].count("?") == pytest.approx(71 / 4, abs=2)
    assert "?" in lines[-4]


@pytest.mark.parametrize("count", [1, 2, 3, 71, 72, 421, 5000])
@pytest.mark.parametrize("columns", [20, 80, 200])
def test_any_length_fits_any_width(count: int, columns: int) -> None:
    lines = sketch(np.full(count, 0.3), columns=columns)
    assert max(len(line) for line in lines) <= columns + 4
    assert len(lines) == 8 + 3


def test_ascii_only_and_all_unseen() -> None:
    lines = sketch(np.full(100, np.nan), ascii_only=True)
    assert "".join(lines).isascii()


def test_axis_numbers_stand_at_their_places() -> None:
    gap = np.full(420, 0.3)
    gap[200] = 2.0  # station at 100.25 mm
    lines = sketch(gap)
    assert lines[-1].split() == ["mm", *(str(place) for place in range(0, 201, 20))]
    peak = lines[-3].index("#")
    number = lines[-1].index("100") + 1
    assert abs(peak - number) <= 1
    assert lines[-2][number] == "┬"


def test_a_short_land_has_signs_below_its_columns_and_only_there() -> None:
    gap = np.full(420, 0.3)
    shown = SketchInput(
        station_mm=0.5 * (np.arange(420) + 0.5),
        gap_mm=gap,
        states=["within"] * 420,
        limit_mm=0.9,
        short_land_mm=[(89.5, 101.0)],
    )
    lines = ["".join(cell.text for cell in line) for line in profile_sketch(shown)]
    assert len(lines) == 8 + 4
    signs = lines[-3]
    assert signs.startswith(" land ")
    columns = [index - 6 for index, sign in enumerate(signs) if sign == "<"]
    mm_per_column = 210 / (len(signs) - 6)
    assert columns == list(range(columns[0], columns[-1] + 1))
    assert columns[0] * mm_per_column == pytest.approx(89.5, abs=mm_per_column)
    assert (columns[-1] + 1) * mm_per_column == pytest.approx(101.0, abs=mm_per_column)


@pytest.mark.parametrize("limit_mm", [0.7, 0.889, 0.9, 1.2])
@pytest.mark.parametrize("largest", [0.2, 0.8, 1.5, 2.5])
def test_numbers_of_the_gap_axis_are_whole_shares_of_the_limit(limit_mm: float, largest: float) -> None:
    gap = np.full(200, 0.1)
    gap[50] = largest
    rows = [line[:6].strip() for line in sketch(gap, limit_mm)[:8]]
    numbers = [float(word) for word in rows if word]
    steps = np.diff(numbers[::-1])
    assert numbers[-1] == 0.0
    assert f"{limit_mm:.2f}" in rows
    assert np.ptp(steps) <= 0.0101  # each is rounded to 0.01


@pytest.mark.parametrize("count", [71, 421, 423])
@pytest.mark.parametrize("first_mm", [-1.0, 0.25, 100.0])
def test_no_line_of_the_sketch_is_wider_than_asked(count: int, first_mm: float) -> None:
    shown = SketchInput(
        station_mm=first_mm + 0.5 * np.arange(count),
        gap_mm=np.full(count, 0.3),
        states=["within"] * count,
        limit_mm=0.9,
    )
    for line in profile_sketch(shown, columns=80):
        assert sum(len(cell.text) for cell in line) <= 80

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

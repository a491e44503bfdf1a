from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitup.errors import UsageError
from fitup.verdict import SpotRule, StationState
from fitup.verdict.spots import Stretch, find_stretches

LETTERS = {
    ".": StationState.WITHIN,
    "d": StationState.DOUBTFUL,
    "O": StationState.OVER,
    "u": StationState.UNSEEN,
}
NO_MERGING = SpotRule(merge_mm=0.0)
PICTURES = st.text(alphabet=list(LETTERS), min_size=1, max_size=60)


def states_of(picture: str) -> tuple[StationState, ...]:
    return tuple(LETTERS[letter] for letter in picture)


def spots_of(picture: str, rule: SpotRule | None = None) -> str:
    """The spots drawn over the stations: a spot is a run of letters, blank where there is none."""
    drawn = [" "] * len(picture)
    letter_of = {state: letter for letter, state in LETTERS.items()}
    for stretch in find_stretches(states_of(picture), 0.5, rule):
        drawn[stretch.cells] = letter_of[stretch.state] * (stretch.last - stretch.first + 1)
    return "".join(drawn)


@pytest.mark.parametrize(
    ("stations", "spots"),
    [
        ("......", "      "),
        ("..O...", "  O   "),  # one station over is kept
        ("OO..OO", "OO  OO"),  # 1 mm apart: two spots
        ("OO.OO.", "OOOOO "),  # 0.5 mm apart: one
        ("OOdOO.", "OOOOO "),
        ("OOuOO.", "OOuOO "),  # what was not seen is never covered up
        (".dOOd.", " OOOO "),  # a short doubtful edge belongs to the spot
        ("ddOOdd", "ddOOdd"),  # 1 mm is not short
        ("dd.dd.", "ddddd "),
        ("ddudd.", "ddudd "),
        ("dd.OO.", "dd OO "),  # two kinds are never merged across stations within
        ("d.O.d.", "d O d "),
        ("u.u...", "u u   "),
        ("O.O", "OOO"),
        (".O", " O"),  # what lies before the first and behind the last is no break
        ("O.", "O "),
        ("d.d", "ddd"),
        ("Odu", "OOu"),
        ("O.d", "O d"),
        ("ddO", "ddO"),
        ("dO.Od", "OOOOO"),
    ],
)
def test_merging_by_the_default_length(stations: str, spots: str) -> None:
    assert spots_of(stations) == spots


def test_over_dropped_only_by_a_stated_length_and_then_still_doubtful() -> None:
    assert spots_of("..O...OOOO..", SpotRule(shortest_over_mm=1.0)) == "  d   OOOO  "
    both = SpotRule(shortest_over_mm=1.0, shortest_doubtful_mm=1.0)
    assert spots_of("..O...OOOO..", both) == "      OOOO  "


def test_short_doubtful_and_unseen_are_dropped_by_a_stated_length() -> None:
    rule = SpotRule(shortest_doubtful_mm=1.5, shortest_unseen_mm=1.0)
    assert spots_of(".dd...ddd..u...uu.", rule) == "      ddd      uu "


@given(picture=PICTURES)
def test_without_merging_spots_are_exactly_the_stations_that_are_not_within(picture: str) -> None:
    assert spots_of(picture, NO_MERGING) == picture.replace(".", " ")


@given(picture=PICTURES, merge_mm=st.sampled_from([0.0, 0.5, 1.0, 2.0, 5.0]))
def test_every_station_that_is_not_within_lies_in_exactly_one_spot(picture: str, merge_mm: float) -> None:
    stretches = find_stretches(states_of(picture), 0.5, SpotRule(merge_mm=merge_mm))
    covered = [index for stretch in stretches for index in range(stretch.first, stretch.last + 1)]
    assert covered == sorted(set(covered))
    assert {index for index, letter in enumerate(picture) if letter != "."} <= set(covered)


@given(picture=PICTURES, merge_mm=st.sampled_from([0.0, 0.5, 1.0, 2.0, 5.0]))
def test_a_spot_is_never_milder_than_a_station_in_it(picture: str, merge_mm: float) -> None:
    drawn = spots_of(picture, SpotRule(merge_mm=merge_mm))
    for station, spot in zip(picture, drawn, strict=True):
        assert station != "O" or spot == "O"
        assert station != "d" or spot in "dO"
        assert (station == "u") == (spot == "u")


@given(picture=PICTURES)
def test_spots_begin_and_end_with_stations_that_need_a_person(picture: str) -> None:
    for stretch in find_stretches(states_of(picture), 0.5):
        assert "." not in (picture[stretch.first], picture[stretch.last])


def test_stretches_come_in_order_along_the_joint() -> None:
    assert find_stretches(states_of("u.OO.d"), 0.5, NO_MERGING) == (
        Stretch(state=StationState.UNSEEN, first=0, last=0),
        Stretch(state=StationState.OVER, first=2, last=3),
        Stretch(state=StationState.DOUBTFUL, first=5, last=5),
    )


def test_a_hole_in_a_doubtful_stretch_is_in_no_other_spot() -> None:
    """Half a millimetre would be merged over if it had been seen."""
    assert find_stretches(states_of("ddudd"), 0.5) == (
        Stretch(state=StationState.DOUBTFUL, first=0, last=1),
        Stretch(state=StationState.UNSEEN, first=2, last=2),
        Stretch(state=StationState.DOUBTFUL, first=3, last=4),
    )


@pytest.mark.parametrize("length_mm", [-0.1, math.nan, math.inf])
@pytest.mark.parametrize(
    "name", ["merge_mm", "shortest_over_mm", "shortest_doubtful_mm", "shortest_unseen_mm"]
)
def test_senseless_lengths_are_refused(name: str, length_mm: float) -> None:
    with pytest.raises(UsageError) as caught:
        SpotRule(**{name: length_mm})
    assert str(caught.value) == f"{name} must be a length of 0 mm or more, not {length_mm:g}."

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitup.errors import UsageError
from fitup.verdict import Wire, parse_wire


@pytest.mark.parametrize(
    ("text", "diameter_mm"),
    [
        ("035", 0.889),
        (".035", 0.889),
        ("0.035", 0.889),
        ("0.035in", 0.889),
        ('0.035"', 0.889),
        ("35 thou", 0.889),
        ("045", 1.143),
        ("030", 0.762),
        ("023", 0.5842),
        ("0.9mm", 0.9),
        ("0.9", 0.9),
        ("0,9 mm", 0.9),
        ("0.900", 0.9),
        (".9", 0.9),
        ("1", 1.0),
        ("1.2 mm", 1.2),
        ("1/16in", 1.5875),
        ("1/16", 1.5875),
        ("3.2", 3.2),
        ("0.4", 0.4),
    ],
)
def test_reads_wire_as_the_trade_writes_it(text: str, diameter_mm: float) -> None:
    wire = parse_wire(text)
    assert wire.diameter_mm == diameter_mm
    assert wire.as_written == text


def test_says_how_an_inch_size_was_read() -> None:
    assert parse_wire("035").reading == "0.035 in = 0.889 mm"
    assert parse_wire("1/16in").reading == "1/16 in = 1.5875 mm"
    assert parse_wire("0.9").reading == "0.9 mm"
    assert parse_wire("3/64in").reading == "3/64 in = 1.1906 mm"
    assert parse_wire("0.04687in").reading == "0.0469 in = 1.1905 mm"


@pytest.mark.parametrize(
    ("text", "guess"),
    [
        ("9mm", "did you mean 0.9 mm?"),
        ("9", "did you mean 0.9 mm?"),
        ("12", "did you mean 1.2 mm"),
        ("35", "did you mean 0.035 in?"),
        ("35mm", "did you mean 0.035 in?"),
        ("0.9in", "did you mean 0.9 mm?"),
        ("0.035mm", "did you mean 0.035 in?"),
        ("0.1", "did you mean 0.1 in?"),
        ("30", "did you mean 3 mm or 0.03 in?"),
    ],
)
def test_a_likely_slip_is_named(text: str, guess: str) -> None:
    with pytest.raises(UsageError) as caught:
        parse_wire(text)
    assert guess in str(caught.value)


@pytest.mark.parametrize("text", ["0.39mm", "3.21mm", "1/2in", "0.35", "100mm", "018ga", "18ga"])
def test_refuses_sizes_that_are_no_wire(text: str) -> None:
    with pytest.raises(UsageError):
        parse_wire(text)


@pytest.mark.parametrize("diameter_mm", [0.0, -0.9, float("nan"), float("inf"), 9.0])
def test_a_wire_object_cannot_be_out_of_range(diameter_mm: float) -> None:
    with pytest.raises(UsageError) as caught:
        Wire(diameter_mm=diameter_mm, as_written="")
    assert str(caught.value) == f"a wire of {diameter_mm:g} mm is outside 0.4 to 3.2 mm."


@given(text=st.from_regex(r"[0-9]{0,3}([.,][0-9]{1,4})?", fullmatch=True))
def test_no_bare_number_gives_a_wire_out_of_range(text: str) -> None:
    try:
        wire = parse_wire(text)
    except UsageError:
        return
    assert 0.4 <= wire.diameter_mm <= 3.2


@given(tenth_mm=st.integers(4, 32))
def test_all_ways_to_write_millimetres_agree(tenth_mm: int) -> None:
    number = f"{tenth_mm // 10}.{tenth_mm % 10}"
    sizes = {
        parse_wire(text).diameter_mm for text in (number, f"{number}mm", f"{number.replace('.', ',')} mm")
    }
    assert sizes == {tenth_mm / 10}


@given(thou=st.integers(16, 99))
def test_all_ways_to_write_inches_agree(thou: int) -> None:
    ways = (
        f"0{thou}",
        f".0{thou}",
        f"0.0{thou}",
        f"0.0{thou}in",
        f'.0{thou}"',
        f"{thou} thou",
        f"{thou}/1000in",
    )
    assert len({parse_wire(text).diameter_mm for text in ways}) == 1


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("9", "wire '9' would be 9 mm, outside 0.4 to 3.2 mm: did you mean 0.9 mm?"),
        ("35", "wire '35' would be 35 mm, outside 0.4 to 3.2 mm: did you mean 0.035 in?"),
        ("0.1mm", "wire '0.1mm' would be 0.1 mm, outside 0.4 to 3.2 mm: did you mean 0.1 in?"),
        ("16mm", "wire '16mm' would be 16 mm, outside 0.4 to 3.2 mm: did you mean 1.6 mm or 0.016 in?"),
        ("1in", "wire '1in' would be 25.4 mm, outside 0.4 to 3.2 mm: did you mean 1 mm?"),
        ("thick", "the wire diameter 'thick' cannot be read: write a number with mm or in."),
        ("1/2", "wire '1/2' would be 12.7 mm, outside 0.4 to 3.2 mm."),
        ("500mm", "wire '500mm' would be 500 mm, outside 0.4 to 3.2 mm."),
    ],
)
def test_slips_are_answered_with_what_was_meant(text: str, sentence: str) -> None:
    with pytest.raises(UsageError) as caught:
        parse_wire(text)
    assert str(caught.value) == sentence

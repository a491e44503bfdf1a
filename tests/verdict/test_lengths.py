from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from fitup.errors import UsageError
from fitup.verdict import parse_length, parse_length_or_zero, parse_place, parse_sheet, parse_wire
from fitup.verdict.lengths import format_mm, format_number


@pytest.mark.parametrize(
    ("text", "length_mm"),
    [
        ("0.5", 0.5),
        ("0.5mm", 0.5),
        (" 0,5 mm ", 0.5),
        ("12 millimetres", 12.0),
        ("+3 MM", 3.0),
        ("1in", 25.4),
        ("0.02 in.", 0.508),
        ('1/16"', 1.5875),
        ("3/64 inch", 1.190625),
        ("1 / 4 in", 6.35),
        ("20 thou", 0.508),
        ("0.035″", 0.889),
        (".5mm", 0.5),
    ],
)
def test_reads_lengths_exactly(text: str, length_mm: float) -> None:
    assert parse_length(text) == length_mm


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "empty"),
        ("   ", "empty"),
        ("abc", "cannot be read"),
        ("nan", "cannot be read"),
        ("inf mm", "cannot be read"),
        ("1e3mm", "cannot be read"),
        ("5 cm", "cannot be read"),
        ("1.200,5 mm", "cannot be read"),
        ("1..5", "cannot be read"),
        ("0", "greater than zero"),
        ("0.000in", "greater than zero"),
        ("-0.5mm", "greater than zero"),
        ("−0.5mm", "greater than zero"),
        ("1/0in", "divides by zero"),
        (".035", "inches or millimetres"),
        ("035", "inches or millimetres"),
        ("999999999", "check the number"),
        ("٣mm", "cannot be read"),
    ],
)
def test_refuses_what_is_no_length(text: str, says: str) -> None:
    with pytest.raises(UsageError, match=says):
        parse_length(text)


@pytest.mark.parametrize("not_text", [0.9, None, 35, b"035"])
@pytest.mark.parametrize("parse", [parse_length, parse_wire, parse_sheet])
def test_refuses_what_is_not_text(parse, not_text) -> None:
    with pytest.raises(UsageError, match="as text"):
        parse(not_text)


_READERS = [parse_place, parse_length_or_zero, parse_length, parse_wire, parse_sheet]
_NEARLY = st.from_regex(
    r"[-+]?[0-9]{0,4}[.,/]?[0-9]{0,4} ?(mm|in|\"|thou|ga|gauge|cm|)( stainless| steel|)", fullmatch=True
)


@pytest.mark.parametrize("parse", _READERS)
@given(text=st.one_of(st.text(), _NEARLY))
@example(text="9" * 5000)
@example(text="0." + "0" * 400 + "1mm")
@example(text="1\n2")
@example(text="\x00")
@example(text="\ud800")
@example(text="²mm")
def test_any_text_is_a_length_or_one_sentence(parse, text: str) -> None:
    try:
        parse(text)
    except UsageError as error:
        message = str(error)
        assert "\n" not in message
        assert message[-1] in ".?"
        assert len(message) < 300
        message.encode()  # can be printed


@given(micrometres=st.integers(1, 90_000_000))
def test_millimetres_come_back(micrometres: int) -> None:
    length_mm = float(Fraction(micrometres, 1000))
    assert parse_length(f"{micrometres // 1000}.{micrometres % 1000:03d} mm") == length_mm
    assert parse_length(f"{micrometres // 1000},{micrometres % 1000:03d}mm") == length_mm


@given(tenth_thous=st.integers(1, 3_000_000))
def test_an_inch_is_exactly_25_4_mm(tenth_thous: int) -> None:
    inches = f"{tenth_thous // 10_000}.{tenth_thous % 10_000:04d}"
    assert parse_length(f"{inches}in") == float(Fraction(tenth_thous, 10_000) * Fraction("25.4"))
    assert parse_length(f"{inches}in") / 25.4 == pytest.approx(tenth_thous / 10_000, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "place_mm"),
    [
        ("4in", 101.6),
        ('4"', 101.6),
        ("-0.5in", -12.7),
        ("20", 20.0),
        ("20mm", 20.0),
        ("+20 mm", 20.0),
        ("−3.5mm", -3.5),
        ("0", 0.0),
        ("-0", 0.0),
        ("0.0mm", 0.0),
        ("0in", 0.0),
    ],
)
def test_places_may_be_inches_zero_or_negative(text: str, place_mm: float) -> None:
    assert parse_place(text) == pytest.approx(place_mm, rel=1e-12)


@pytest.mark.parametrize("text", ["--3", "+-3mm", "-", "", "here", "nan", "1e5", "0x10", "3 cm", "X3"])
def test_what_is_no_place_is_refused(text: str) -> None:
    with pytest.raises(UsageError):
        parse_place(text)


def test_a_length_that_may_be_zero() -> None:
    assert parse_length_or_zero("0mm") == 0.0
    assert parse_length_or_zero("0,00") == 0.0
    assert parse_length_or_zero("0.15mm") == 0.15
    with pytest.raises(UsageError):
        parse_length_or_zero("-1mm")
    with pytest.raises(UsageError):
        parse_length("0mm")


@pytest.mark.parametrize(
    ("read", "text", "sentence"),
    [
        (parse_length, "ten", "the length 'ten' cannot be read: write a number with mm or in."),
        (parse_length, " ", "the length is empty: write it with its unit, such as 0.9mm or 0.035in."),
        (parse_length, "100000.1mm", "the length '100000.1mm' is over 100 m: check the number."),
        (parse_length, "1/0in", "the length '1/0in' divides by zero: write a fraction such as 1/16in."),
        (parse_length, "0mm", "the length '0mm' must be greater than zero."),
        (
            parse_length,
            "035",
            "the length '035' may be inches or millimetres: write 035in or 035mm with the unit.",
        ),
        (parse_length, "ä\n", "the length 'ä\\n' cannot be read: write a number with mm or in."),
        (parse_length, "x" * 38, f"the length '{'x' * 38}' cannot be read: write a number with mm or in."),
        (parse_length, "x" * 39, f"the length '{'x' * 35}...' cannot be read: write a number with mm or in."),
        (parse_place, "--3", "the place '--3' cannot be read: write a number with mm or in."),
        (parse_place, "here", "the place 'here' cannot be read: write a number with mm or in."),
        (parse_length_or_zero, "wide", "the length 'wide' cannot be read: write a number with mm or in."),
    ],
)
def test_refusals_word_by_word(read: Callable[[str], float], text: str, sentence: str) -> None:
    with pytest.raises(UsageError) as caught:
        read(text)
    assert str(caught.value) == sentence


def test_what_was_asked_for_is_named_in_a_refusal() -> None:
    for read in (parse_length, parse_place, parse_length_or_zero):
        with pytest.raises(UsageError, match=r"^the shift 'ten' cannot be read"):
            read("ten", "the shift")


def test_the_longest_length_is_taken() -> None:
    assert parse_length("100000mm") == 100_000


def test_numbers_are_written_without_trailing_zeros() -> None:
    assert [format_number(value) for value in (0.88951, 0.5, 100.0, 0.0)] == ["0.89", "0.5", "100", "0"]
    assert format_number(0.88949) == "0.889"
    assert [format_number(value, 0) for value in (100.0, 9.6)] == ["100", "10"]
    assert format_number(Fraction(1, 3), 4) == "0.3333"
    assert (format_mm(0.88949), format_mm(1.2, 1)) == ("0.889 mm", "1.2 mm")

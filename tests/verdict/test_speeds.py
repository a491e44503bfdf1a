"""Speeds, power and frequency as the trade writes them, against exact conversions."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitup.errors import UsageError
from fitup.verdict.speeds import parse_frequency, parse_power, parse_speed


@pytest.mark.parametrize(
    ("text", "mm_s"),
    [
        ("12.7mm/s", 12.7),
        ("0.5in/s", 12.7),
        ("0,5 in / s", 12.7),
        ("1/2in/s", 12.7),
        (".5 inch per second", 12.7),
        ('0.5"/sec', 12.7),
        ("30 ipm", 12.7),
        ("30in/min", 12.7),
        ("762 mm/min", 12.7),
        ("76.2cm/min", 12.7),
        ("0.762 m/min", 12.7),
        ("0.762 m/Minute.", 12.7),
    ],
)
def test_speeds(text: str, mm_s: float) -> None:
    assert parse_speed(text) == pytest.approx(mm_s, rel=1e-12)


def test_power_and_frequency() -> None:
    assert parse_power("550W") == parse_power("0.55 kW") == 550
    assert parse_frequency("80Hz") == parse_frequency("0.08 kHz") == 80


@pytest.mark.parametrize(
    "text", ["", "12.7", "mm/s", "12.7 furlongs", "12.7mm", "-3mm/s", "0mm/s", "1e9 in/s"]
)
def test_what_is_no_speed_is_refused_in_one_sentence(text: str) -> None:
    with pytest.raises(UsageError) as caught:
        parse_speed(text, "the feed")
    assert str(caught.value).startswith("the feed")
    assert str(caught.value).endswith(".")


def test_numbers_without_quotes_are_refused() -> None:
    with pytest.raises(UsageError, match="must be given as text with its unit, such as 550W"):
        parse_power(550)  # type: ignore[arg-type]


@given(st.integers(1, 99999), st.sampled_from(("mm/s", "in/min", "m/min")))
def test_numbers_come_back(number: int, unit: str) -> None:
    factor = {"mm/s": 1.0, "in/min": 25.4 / 60, "m/min": 1000 / 60}[unit]
    assert parse_speed(f"{number / 100} {unit}") == pytest.approx(number / 100 * factor, rel=1e-12)


@pytest.mark.parametrize("text", ["0.5″/s", "0.5”/s", '0.5 " / s.', "0.5 INCHES per SEC"])
def test_the_shops_signs_of_an_inch(text: str) -> None:
    assert parse_speed(text) == pytest.approx(12.7, rel=1e-12)


@pytest.mark.parametrize(
    ("read", "text", "sentence"),
    [
        (
            parse_speed,
            "12.7",
            "the speed '12.7' cannot be read: write a number with its unit, 12.7mm/s, 0.5in/s or 30in/min.",
        ),
        (parse_power, "550", "the power '550' cannot be read: write a number with its unit, 550W."),
        (parse_power, "0W", "the power '0' must be greater than zero."),
        (parse_frequency, "80", "the frequency '80' cannot be read: write a number with its unit, 80Hz."),
        (parse_frequency, "Hz", "the frequency 'Hz' cannot be read: write a number with its unit, 80Hz."),
        (parse_frequency, "-1Hz", "the frequency '-1' must be greater than zero."),
    ],
)
def test_refusals_name_the_quantity_and_show_how_it_is_written(
    read: Callable[[str], float], text: str, sentence: str
) -> None:
    with pytest.raises(UsageError) as caught:
        read(text)
    assert str(caught.value) == sentence


def test_refusals_name_what_was_asked_for() -> None:
    for read in (parse_speed, parse_power, parse_frequency):
        with pytest.raises(UsageError, match=r"^the number '5' cannot be read"):
            read("5", "the number")

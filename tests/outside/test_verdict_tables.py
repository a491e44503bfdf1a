"""Sheet gauges, wire sizes and the inch against what was published outside this project."""

from __future__ import annotations

import csv
import math
from fractions import Fraction
from pathlib import Path

import pytest

from fitup.verdict import parse_length, parse_sheet, parse_wire
from fitup.verdict.gauges import MANUFACTURERS_STANDARD, US_STANDARD

SHARED = Path(__file__).resolve().parents[2].parent / "shared" / "data"

# 15 U.S.C. 206 (Act of 3 March 1893, 27 Stat. 746), public domain; read in stored copies of the law.
# gauge, approximate thickness in fractions and decimal parts of an inch, weight per square foot in ounces.
LAW = [
    ("0000000", "1/2", ".5", 320),
    ("000000", "15/32", ".46875", 300),
    ("00000", "7/16", ".4375", 280),
    ("0000", "13/32", ".40625", 260),
    ("000", "3/8", ".375", 240),
    ("00", "11/32", ".34375", 220),
    ("0", "5/16", ".3125", 200),
    ("1", "9/32", ".28125", 180),
    ("2", "17/64", ".265625", 170),
    ("3", "1/4", ".25", 160),
    ("4", "15/64", ".234375", 150),
    ("5", "7/32", ".21875", 140),
    ("6", "13/64", ".203125", 130),
    ("7", "3/16", ".1875", 120),
    ("8", "11/64", ".171875", 110),
    ("9", "5/32", ".15625", 100),
    ("10", "9/64", ".140625", 90),
    ("11", "1/8", ".125", 80),
    ("12", "7/64", ".109375", 70),
    ("13", "3/32", ".09375", 60),
    ("14", "5/64", ".078125", 50),
    ("15", "9/128", ".0703125", 45),
    ("16", "1/16", ".0625", 40),
    ("17", "9/160", ".05625", 36),
    ("18", "1/20", ".05", 32),
    ("19", "7/160", ".04375", 28),
    ("20", "3/80", ".0375", 24),
    ("21", "11/320", ".034375", 22),
    ("22", "1/32", ".03125", 20),
    ("23", "9/320", ".028125", 18),
    ("24", "1/40", ".025", 16),
    ("25", "7/320", ".021875", 14),
    ("26", "3/160", ".01875", 12),
]

# Manufacturers' standard gauge in inches as published; second-hand, from a public dictionary of gauges.
MANUFACTURERS = {
    "24": "0.0239",
    "22": "0.0299",
    "20": "0.0359",
    "18": "0.0478",
    "16": "0.0598",
    "14": "0.0747",
    "12": "0.1046",
    "11": "0.1196",
    "10": "0.1345",
    "7": "0.1793",
}

# Nominal wire sizes. Inch sizes with their mm to two decimals: a wire maker's published handbook table
# (its 1/16 in is printed as 1.58). Metric sizes: second-hand, a machine manual; 0.023 in: second-hand too.
WIRES = [
    ("023", 0.5842, 0.58),
    ("024", 0.6096, 0.61),
    ("030", 0.7620, 0.76),
    ("035", 0.8890, 0.89),
    ("040", 1.0160, 1.02),
    ("045", 1.1430, 1.14),
    ("1/16in", 1.5875, 1.58),
    ("0.6", 0.6, 0.6),
    ("0.8", 0.8, 0.8),
    ("0.9", 0.9, 0.9),
    ("1.0", 1.0, 1.0),
    ("1.2", 1.2, 1.2),
    ("1.6", 1.6, 1.6),
]


def shared_rows(name: str) -> list[dict[str, str]]:
    """Rows of a table that lies beside the repository on some machines."""
    path = SHARED / name
    if not path.is_file():
        pytest.skip(f"{name} is not beside this checkout; the numbers typed in this file are checked anyway")
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


def test_the_table_holds_gauges_0000000_to_26_of_the_law_and_nothing_else() -> None:
    assert {gauge: Fraction(fraction) for gauge, fraction, _, _ in LAW} == dict(US_STANDARD.thickness_in)


@pytest.mark.parametrize(("gauge", "fraction", "decimal", "ounces"), LAW)
def test_us_standard_gauge_by_the_law(gauge: str, fraction: str, decimal: str, ounces: int) -> None:
    thickness_in = US_STANDARD.thickness_in[gauge]
    assert thickness_in == Fraction(fraction) == Fraction("0" + decimal) == Fraction(ounces, 640)
    if gauge != "0000000":  # 12.7 mm is thicker than what is inspected
        assert parse_sheet(f"{gauge}ga stainless").thickness_mm == float(thickness_in * Fraction("25.4"))


@pytest.mark.parametrize(("gauge", "published_in"), MANUFACTURERS.items())
def test_manufacturers_standard_gauge_as_published(gauge: str, published_in: str) -> None:
    assert MANUFACTURERS_STANDARD.thickness_in[gauge] == Fraction(published_in)
    assert parse_sheet(f"{gauge}ga steel").thickness_mm == float(Fraction(published_in) * Fraction("25.4"))


def test_ten_gauge_steel_weighs_5_625_pounds_per_square_foot() -> None:
    """41.82 lb per square foot and inch x 0.1345 in = 5.625 lb (second-hand, a web page)."""
    assert float(MANUFACTURERS_STANDARD.thickness_in["10"]) * 41.82 == pytest.approx(5.625, abs=0.0005)


def test_the_two_readings_of_18_gauge_differ_by_4_6_percent() -> None:
    stainless, steel = (parse_sheet(f"18ga {word}").thickness_mm for word in ("stainless", "steel"))
    assert stainless / steel - 1 == pytest.approx(0.046, abs=0.0005)


@pytest.mark.parametrize(("text", "exact_mm", "published_mm"), WIRES)
def test_wire_sizes(text: str, exact_mm: float, published_mm: float) -> None:
    diameter_mm = parse_wire(text).diameter_mm
    assert diameter_mm == exact_mm
    assert diameter_mm == pytest.approx(published_mm, abs=0.0076)


def test_the_inch_of_1959_is_25_4_mm_exactly() -> None:
    assert parse_length("1in") == 25.4
    assert parse_length("1000 thou") == 25.4
    assert parse_length("12in") == 304.8
    assert parse_length("36 in") == 914.4  # the yard of the 1959 agreement, 0.9144 m


def test_us_standard_gauge_against_the_whole_table() -> None:
    rows = shared_rows("us_standard_gauge_15usc206.csv")
    assert len(rows) == len(LAW)
    for row in rows:
        thickness_in = US_STANDARD.thickness_in[row["gauge"]]
        assert thickness_in == Fraction(row["fraction_in"]) == Fraction("0" + row["thickness_in"])
        assert thickness_in * Fraction("25.4") == Fraction(row["thickness_mm"].zfill(6))


def test_both_gauges_against_the_table_of_conventions() -> None:
    for row in shared_rows("sheet_gauge_conventions.csv"):
        assert float(US_STANDARD.thickness_in[row["gauge"]]) == pytest.approx(float(row["uss_in"]), abs=1e-12)
        assert MANUFACTURERS_STANDARD.thickness_in[row["gauge"]] == Fraction(row["msg_in"])


def test_wire_sizes_against_the_whole_table() -> None:
    for row in shared_rows("wire_sizes.csv"):
        diameter_mm = parse_wire(row["nominal"]).diameter_mm
        assert diameter_mm == float(row["diameter_mm"])
        assert math.pi / 4 * diameter_mm**2 == pytest.approx(float(row["area_mm2"]), abs=5e-6)

from __future__ import annotations

import pytest

from fitup.errors import UsageError
from fitup.verdict import Sheet, gauges, parse_sheet


@pytest.mark.parametrize(
    "text", ["18ga stainless", "18 ga. Stainless Steel", "18 gauge SS", "18GAGE stainless", "18ga us"]
)
def test_stainless_is_read_by_the_us_standard_gauge(text: str) -> None:
    sheet = parse_sheet(text)
    assert sheet.thickness_mm == 1.27
    assert sheet.table is not None
    assert "US standard gauge" in sheet.table
    assert sheet.as_written == text


@pytest.mark.parametrize("text", ["18ga steel", "18 gauge carbon", "18 ga, mild steel", "18ga carbon steel"])
def test_carbon_steel_is_read_by_the_manufacturers_standard(text: str) -> None:
    sheet = parse_sheet(text)
    assert sheet.thickness_mm == pytest.approx(1.21412, abs=1e-12)
    assert sheet.table is not None
    assert "manufacturers' standard gauge" in sheet.table


@pytest.mark.parametrize(
    ("text", "thickness_mm"),
    [
        ("1.5mm", 1.5),
        ("1.5", 1.5),
        ("0,8 mm", 0.8),
        ("0.060in", 1.524),
        (".060", 1.524),
        ("1/8in", 3.175),
        ("12", 12.0),
    ],
)
def test_lengths_name_no_table(text: str, thickness_mm: float) -> None:
    sheet = parse_sheet(text)
    assert sheet.thickness_mm == thickness_mm
    assert sheet.table is None


def test_a_bare_gauge_number_is_asked_back_with_both_readings() -> None:
    with pytest.raises(UsageError) as caught:
        parse_sheet("18ga")
    message = str(caught.value)
    assert "1.27 mm" in message
    assert "1.214 mm" in message
    assert "18ga stainless" in message
    assert "18ga steel" in message


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("16 gauge galvanized", "no gauge table is kept for 'galvanized'"),
        ("16ga aluminum", "no gauge table"),
        ("40ga steel", "runs from 3 to 26"),
        ("2ga steel", "runs from 3 to 26"),
        ("99ga", "no gauge number"),
        ("0000000ga stainless", "outside 0.3 to 12 mm"),
        ("16", "16ga stainless"),
        ("0.375", "0.375mm or 0.375in"),
        ("060", "gauge number or thousandths"),
        ("0.1", "outside"),
        ("25mm", "outside"),
        ("", "empty"),
        ("ga", "cannot be read"),
        ("-18ga stainless", "cannot be read"),
        ("18gallons", "cannot be read"),
    ],
)
def test_refusals_say_what_to_write(text: str, says: str) -> None:
    with pytest.raises(UsageError, match=says):
        parse_sheet(text)


@pytest.mark.parametrize("thickness_mm", [0.0, -1.0, float("nan"), float("inf"), 20.0])
def test_a_sheet_object_cannot_be_out_of_range(thickness_mm: float) -> None:
    with pytest.raises(UsageError) as caught:
        Sheet(thickness_mm=thickness_mm, table=None, as_written="")
    assert str(caught.value) == f"a sheet of {thickness_mm:g} mm is outside 0.3 to 12 mm."


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (
            "060",
            "sheet '060' may be a gauge number or thousandths of an inch: write ga, in or mm after it.",
        ),
        ("40", "sheet '40' would be 40 mm, outside 0.3 to 12 mm."),
        ("thick", "the sheet thickness 'thick' cannot be read: write a number with mm or in."),
        (
            "18ga x",
            "sheet '18ga x': no gauge table is kept for 'x': write stainless or steel after the gauge "
            "number, or give the thickness in mm.",
        ),
        (
            "16",
            "sheet '16' would be 16 mm, outside 0.3 to 12 mm (for a gauge number write 16ga stainless or "
            "16ga steel).",
        ),
        ("16mm", "sheet '16mm' would be 16 mm, outside 0.3 to 12 mm."),
        (
            "0.375",
            "sheet '0.375' may be 0.375 mm or 9.525 mm: write 0.375mm or 0.375in.",
        ),
        (
            "18ga",
            "gauge 18 alone does not say how thick the sheet is: write 18ga stainless (1.27 mm by the US "
            "standard gauge) or 18ga steel (1.214 mm by the manufacturers' standard gauge).",
        ),
        (
            "2ga",
            "gauge 2 alone does not say how thick the sheet is: write 2ga stainless (6.747 mm by the US "
            "standard gauge).",
        ),
        ("99ga", "'99' is no gauge number that is kept here: give the thickness in mm."),
        (
            "18ga brass",
            "sheet '18ga brass': no gauge table is kept for 'brass': write stainless or steel after the "
            "gauge number, or give the thickness in mm.",
        ),
        (
            "40ga steel",
            "sheet '40ga steel': the manufacturers' standard gauge kept here runs from 3 to 26 ga: give the "
            "thickness in mm.",
        ),
        ("0000000ga us", "sheet '0000000ga us' would be 12.7 mm, outside 0.3 to 12 mm."),
    ],
)
def test_refusals_word_by_word(text: str, sentence: str) -> None:
    with pytest.raises(UsageError) as caught:
        parse_sheet(text)
    assert str(caught.value) == sentence


def test_what_was_understood_is_said() -> None:
    gauge = parse_sheet(" 18ga steel ")
    assert gauge.as_written == "18ga steel"
    assert gauge.table == (
        "manufacturers' standard gauge (41.82 lb/ft² per inch of steel, rounded to 0.0001 in)"
    )
    assert gauge.reading == f"18 ga by the {gauge.table} = 1.2141 mm"
    length = parse_sheet(" 1/16in ")
    assert (length.as_written, length.reading) == ("1/16in", "1/16 in = 1.5875 mm")


def test_the_shops_material_is_taken_where_none_is_written() -> None:
    assert parse_sheet("18ga", "steel").thickness_mm == pytest.approx(1.21412)
    assert parse_sheet("18ga stainless", "steel").thickness_mm == 1.27


@pytest.mark.parametrize("text", ["0.3mm", "12mm"])
def test_the_thinnest_and_the_thickest_sheet_are_taken(text: str) -> None:
    assert parse_sheet(text).thickness_mm == float(text.removesuffix("mm"))


def test_gauge_tables_are_worked_out_from_the_law_and_the_weight_of_steel() -> None:
    """They are made when the module is loaded; `tests/outside` compares them with what was published."""
    assert gauges.US_STANDARD.thickness_in == gauges._by_law()
    assert gauges.MANUFACTURERS_STANDARD.thickness_in == gauges._by_weight_of_steel()

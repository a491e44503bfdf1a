from __future__ import annotations

import pytest

from fitup.errors import UsageError
from fitup.verdict import Sheet, parse_sheet


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
    with pytest.raises(UsageError):
        Sheet(thickness_mm=thickness_mm, table=None, as_written="")

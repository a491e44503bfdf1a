"""Fill arithmetic against a general welding-data library and published wire tables."""

from __future__ import annotations

import csv
import math
from pathlib import Path
from typing import Any

import pytest

from fitup.verdict import JointCase, WeldSettings, limit_for, parse_sheet, parse_wire
from fitup.verdict.fill import FillBalance, wire_area_mm2
from fitup.verdict.groove import Groove

SHARED = Path(__file__).resolve().parents[2].parent / "shared" / "data"

# sheet, gap, wire [mm], feed [mm/min]
CASES = [(1.5, 1.0, 1.0, 2000.0), (2.0, 0.8, 0.9, 1500.0), (1.27, 0.5, 0.8, 1200.0), (4.0, 0.15, 1.2, 700.0)]


def balance(groove_mm: float, closed_mm2: float = 0.0) -> FillBalance:
    return FillBalance(groove=Groove(closed_mm2=closed_mm2, per_gap_mm=groove_mm, words=""))


def library() -> tuple[Any, Any, Any]:
    """weldx (PyPI, 0.8.2): quantities, ISO 9692-1 grooves, welding arithmetic."""
    weldx = pytest.importorskip("weldx", reason="weldx is not installed: pip install .[dev]")
    from weldx.welding.groove import iso_9692_1
    from weldx.welding.util import compute_welding_speed

    return weldx.Q_, iso_9692_1, compute_welding_speed


@pytest.mark.parametrize(("sheet", "gap", "wire", "feed"), CASES)
def test_travel_against_weldx(sheet: float, gap: float, wire: float, feed: float) -> None:
    """`compute_welding_speed` with a square groove (ISO 9692-1, I groove)."""
    quantity, grooves, speed = library()
    groove = grooves.IGroove(quantity(sheet, "mm"), b=quantity(gap, "mm"))
    theirs = speed(groove, quantity(feed, "mm/min"), quantity(wire, "mm")).to("mm/s").magnitude
    assert balance(sheet).travel_mm_s(gap, wire, feed / 60) == pytest.approx(float(theirs), rel=1e-9)
    case = JointCase(
        wire=parse_wire(f"{wire}mm"),
        sheet=parse_sheet(f"{sheet}mm"),
        weld=WeldSettings(feed_mm_s=feed / 60, travel_mm_s=float(theirs)),
    )
    fill = next(one for one in limit_for(case).candidates if one.code == "fill")
    assert fill.limit_mm == pytest.approx(gap, rel=1e-9)


def test_area_of_a_v_groove_against_weldx() -> None:
    """V groove t 8 mm, 60°, root gap 2 mm, root face 2 mm: 16 + 36 tan 30° mm².

    Its V is that of a full-open corner in section: linear in the gap, with an area where it is closed.
    """
    quantity, grooves, speed = library()
    groove = grooves.VGroove(quantity(8, "mm"), quantity(60, "deg"), b=quantity(2, "mm"), c=quantity(2, "mm"))
    ours = balance(8.0, closed_mm2=36 * math.tan(math.radians(30)))
    assert ours.needed_mm2(2.0) == pytest.approx(float(groove.cross_sect_area.to("mm^2").magnitude), rel=1e-6)
    theirs = speed(groove, quantity(8, "m/min"), quantity(1.2, "mm")).to("mm/s").magnitude
    assert ours.travel_mm_s(2.0, 1.2, 8000 / 60) == pytest.approx(float(theirs), rel=1e-6)


# Travel that weldx 0.8.2 gave for CASES [mm/min]; here so that they are checked without it too.
WELDX_MM_MIN = (1047.19755, 596.41173, 949.89888, 1319.46891)


@pytest.mark.parametrize(("case", "travel"), list(zip(CASES, WELDX_MM_MIN, strict=True)))
def test_travel_against_the_numbers_that_weldx_gave(
    case: tuple[float, float, float, float], travel: float
) -> None:
    sheet, gap, wire, feed = case
    assert balance(sheet).travel_mm_s(gap, wire, feed) == pytest.approx(travel, rel=1e-8)


# A wire maker's published handbook, inches of wire per pound: (diameter in inches, mild steel, stainless).
# Its aluminium row of 3/64 in does not fit its neighbours and is left out.
INCHES_PER_POUND = [(0.030, 4956, 4872), (0.035, 3648, 3588), (0.045, 2196, 2160), (0.0625, 1152, 1140)]
POUND_G = 453.59237
# Density of mild steel and of austenitic stainless steel [g/cm³], from memory.
DENSITIES = (7.85, 8.0)


@pytest.mark.parametrize(("diameter_in", "steel", "stainless"), INCHES_PER_POUND)
def test_wire_areas_against_published_lengths_per_pound(
    diameter_in: float, steel: int, stainless: int
) -> None:
    area_mm2 = wire_area_mm2(parse_wire(f"{diameter_in}in").diameter_mm)
    for inches, density in zip((steel, stainless), DENSITIES, strict=True):
        published_mm2 = POUND_G / density * 1000 / (inches * 25.4)
        assert area_mm2 == pytest.approx(published_mm2, rel=0.015)


def deposited_lb_h(diameter_mm: float, feed_mm_s: float, density: float) -> float:
    return wire_area_mm2(diameter_mm) * feed_mm_s * density / 1000 * 3600 / POUND_G


def test_deposition_rate_by_the_published_length_per_pound() -> None:
    """0.035 in at 200 in/min and 3648 in/lb: 3.29 lb/h (rate = feed × 60 / inches per pound)."""
    assert deposited_lb_h(0.889, 200 * 25.4 / 60, 7.85) == pytest.approx(200 * 60 / 3648, rel=0.01)


@pytest.mark.parametrize(
    ("diameter_in", "feed_in_min", "printed_lb_h"), [(0.052, 320.0, 11.1), (2.0, 3.0, 154.04)]
)
def test_printed_deposition_rates(diameter_in: float, feed_in_min: float, printed_lb_h: float) -> None:
    """13.1 D² × feed × 0.98, as printed in a trade article and by a calculator (second-hand).

    The constant 13.1 means 7.70 g/cm³.
    """
    fed = deposited_lb_h(diameter_in * 25.4, feed_in_min * 25.4 / 60, 7.70)
    assert 0.98 * fed == pytest.approx(printed_lb_h, rel=0.002)


def shared_rows(name: str) -> list[dict[str, str]]:
    path = SHARED / name
    if not path.is_file():
        pytest.skip(f"{name} is not beside this checkout; the numbers typed in this file are checked anyway")
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


def test_feeds_and_gaps_against_the_whole_table_of_balances() -> None:
    for row in shared_rows("deposition_balance_cases.csv"):
        number = {name: float(value) for name, value in row.items()}
        ours, wire, gap = balance(number["thickness_mm"]), number["wire_mm"], number["gap_mm"]
        assert wire_area_mm2(wire) == pytest.approx(number["wire_area_mm2"], rel=1e-5)
        assert ours.needed_mm2(gap) == pytest.approx(number["groove_area_mm2"], rel=1e-9)
        feed = ours.feed_mm_s(gap, wire, number["travel_mm_per_min"])
        assert feed == pytest.approx(number["wire_feed_mm_per_min"], rel=1e-6)
        same = ours.gap_mm(wire, 10.0, 10.0)
        assert same == pytest.approx(number["gap_filled_at_feed_equal_travel_mm"], abs=1e-6)


def test_wire_areas_against_the_whole_table_of_lengths() -> None:
    """Steel and stainless rows; aluminium is told apart by its density, which the table implies itself."""
    densities = {"mild_steel": 7.85, "stainless_3xx": 8.0}
    rows = [row for row in shared_rows("wire_length_per_mass.csv") if row["material"] in densities]
    assert len(rows) == 10
    for row in rows:
        area_mm2 = wire_area_mm2(float(row["diameter_in"]) * 25.4)
        published_mm2 = 1000 / densities[row["material"]] / float(row["m_per_kg"])
        assert area_mm2 == pytest.approx(published_mm2, rel=0.02)


def test_wire_sizes_that_are_recommended_are_published_ones() -> None:
    from fitup.verdict.wires import published_wires

    published = {float(row["diameter_mm"]) for row in shared_rows("wire_sizes.csv")}
    for inches in (False, True):
        sizes = [wire.diameter_mm for wire in published_wires(inches=inches)]
        assert set(sizes) <= published
        assert sizes == sorted(sizes)

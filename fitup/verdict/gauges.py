"""Gauge numbers of sheet -> thickness, by two tables that differ by 4.6 % for the same number.

US standard gauge: 15 U.S.C. 206 (Act of 3 March 1893, 27 Stat. 746). The law gives each gauge as a common
fraction of an inch and as ounces per square foot, tied by oz = 640 x inch. Shops use it for stainless sheet
(common practice; some shop tables round otherwise, so the table used is always named).

Manufacturers' standard gauge: carbon steel sheet at 41.82 lb per square foot per inch of thickness
(second-hand: quoted on public web pages), the weight of each gauge number being that of the US standard.
Published, and kept here, to four decimals of an inch; printed from gauge 3 upward (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType

__all__ = ["MANUFACTURERS_STANDARD", "US_STANDARD", "GaugeTable"]


@dataclass(frozen=True, kw_only=True)
class GaugeTable:
    """One convention: its name as shown in results, its source, and inches by gauge number."""

    name: str
    source: str
    thickness_in: MappingProxyType[str, Fraction]


# gauge: thickness in inches as the law writes it. Gauges 27 to 38 (below 0.44 mm) are left out.
_LAW_INCHES = {
    "0000000": "1/2",
    "000000": "15/32",
    "00000": "7/16",
    "0000": "13/32",
    "000": "3/8",
    "00": "11/32",
    "0": "5/16",
    "1": "9/32",
    "2": "17/64",
    "3": "1/4",
    "4": "15/64",
    "5": "7/32",
    "6": "13/64",
    "7": "3/16",
    "8": "11/64",
    "9": "5/32",
    "10": "9/64",
    "11": "1/8",
    "12": "7/64",
    "13": "3/32",
    "14": "5/64",
    "15": "9/128",
    "16": "1/16",
    "17": "9/160",
    "18": "1/20",
    "19": "7/160",
    "20": "3/80",
    "21": "11/320",
    "22": "1/32",
    "23": "9/320",
    "24": "1/40",
    "25": "7/320",
    "26": "3/160",
}

_OUNCES_PER_SQUARE_FOOT_AND_INCH_BY_LAW = 640
_POUNDS_PER_SQUARE_FOOT_AND_INCH_OF_STEEL = Fraction(4182, 100)
_OUNCES_PER_POUND = 16
_THICKEST_MANUFACTURERS_GAUGE = 3


def _by_law() -> dict[str, Fraction]:
    return {gauge: Fraction(inch) for gauge, inch in _LAW_INCHES.items()}


def _by_weight_of_steel() -> dict[str, Fraction]:
    ounces_per_inch = _OUNCES_PER_POUND * _POUNDS_PER_SQUARE_FOOT_AND_INCH_OF_STEEL
    return {
        gauge: round(inch * _OUNCES_PER_SQUARE_FOOT_AND_INCH_BY_LAW / ounces_per_inch, 4)
        for gauge, inch in _by_law().items()
        if int(gauge) >= _THICKEST_MANUFACTURERS_GAUGE  # not those that are written with zeros alone
    }


US_STANDARD = GaugeTable(
    name="US standard gauge",
    source="15 U.S.C. 206",
    thickness_in=MappingProxyType(_by_law()),
)
MANUFACTURERS_STANDARD = GaugeTable(
    name="manufacturers' standard gauge",
    source="41.82 lb/ft² per inch of steel, rounded to 0.0001 in",
    thickness_in=MappingProxyType(_by_weight_of_steel()),
)

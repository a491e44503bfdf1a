"""The profile's table, read back by the csv module."""

from __future__ import annotations

import csv
import io
import math

import pytest

from fitup.evidence import profile_csv
from fitup.evidence.table import PROFILE_COLUMNS
from fitup.evidence.words import from_to, gap_and_where, millimetres, spot_label
from tests.evidence.builders import make_inspection


def test_table_read_back_gives_the_profile() -> None:
    subject = make_inspection()
    content = profile_csv(subject)
    rows = list(csv.DictReader(io.StringIO(content.decode("utf-8"), newline="")))
    assert tuple(rows[0]) == PROFILE_COLUMNS
    assert len(rows) == len(subject.profile.station_mm)
    for index, row in enumerate(rows):
        assert float(row["station_mm"]) == pytest.approx(subject.profile.station_mm[index], abs=5.1e-5)
        assert row["state"] == str(subject.verdict.states[index])
        assert row["unseen_reason"] == subject.profile.unseen_reason[index]
        if math.isnan(subject.profile.gap_mm[index]):
            assert row["gap_mm"] == row["near_u_px"] == row["u_gap_mm"] == ""
        else:
            assert float(row["gap_mm"]) == pytest.approx(subject.profile.gap_mm[index], abs=5.1e-5)
            assert float(row["near_v_px"]) == pytest.approx(subject.profile.near_px[index, 1], abs=5.1e-4)


def test_table_follows_rfc_4180_and_repeats_itself() -> None:
    content = profile_csv(make_inspection())
    assert content.endswith(b"\r\n")
    assert content.count(b"\n") == content.count(b"\r\n")
    assert b"nan" not in content.lower()
    assert content == profile_csv(make_inspection())


def test_gap_in_words() -> None:
    assert millimetres(1.123, 0.03) == "1.12 ± 0.06 mm"
    assert millimetres(math.nan, math.nan) == "not seen"
    assert millimetres(-0.004, 0.03) == "0.00 ± 0.06 mm"
    assert gap_and_where(make_inspection().verdict) == "1.31 ± 0.06 mm (k = 2) at 155 mm"


def test_places_in_words_are_rounded_outwards() -> None:
    assert from_to(10.4, 20.2) == "10–21 mm"
    assert from_to(10.24, 11.26) == "10.24–11.26 mm"
    assert from_to(95.25, 95.75) == "95.25–95.75 mm"
    assert from_to(-3.5, 20.0) == "-4 to 20 mm"
    assert from_to(-0.2, 20.0) == "-1 to 20 mm"


def test_spot_labels_name_state_gap_and_place() -> None:
    labels = [spot_label(spot) for spot in make_inspection().verdict.spots]
    assert "over 1.31 mm @ 155 mm" in labels
    assert "unseen 29–39 mm" in labels

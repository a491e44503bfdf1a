"""What a result's page is made of, from a made-up record with every state; pages of it in every language."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import numpy as np
import pytest
from starlette.requests import Request

from fitup.evidence import build_record
from fitup.evidence.judged_record import judged_joint
from fitup.evidence.record import InspectionRecord
from fitup.phone.page_context import page
from fitup.phone.people import Person
from fitup.phone.profile_data import profile_data
from fitup.phone.result_view import result_view
from fitup.phone.shot import Shot
from fitup.verdict.feeler import FeelerReading
from fitup.verdict.settled import settle
from tests.evidence.builders import make_filing, make_inspection


@pytest.fixture(scope="module")
def record() -> InspectionRecord:
    return build_record(make_inspection(), make_filing())


def asked(path: str, *, language: str = "en", units: str = "mm", role: str = "qc") -> Request:
    cookie = f"fitup_language={language}; fitup_units={units}".encode()
    scope = {
        "type": "http",
        "method": "GET",
        "path": path,
        "query_string": b"",
        "headers": [(b"cookie", cookie)],
    }
    request = Request(scope)
    request.state.person = Person(name='<b onclick="x">Ana</b>', role=role, phone_id="0" * 32)
    request.state.csrf_token = "token"
    return request


def test_view_says_what_the_record_says(record: InspectionRecord) -> None:
    view = result_view(record)
    assert (view.word, view.limit_mm) == (record.verdict.word, record.limit.limit_mm)
    assert [(one.state, one.start_mm, one.end_mm) for one in view.spots] == [
        (one.state, one.start_mm, one.end_mm) for one in record.verdict.spots
    ]
    over = [one for one in view.spots if one.state == "over"]
    assert view.first == max(over, key=lambda one: one.gap_mm or 0)
    for one, said in zip(view.spots, record.verdict.spots, strict=True):
        assert (one.beside_over is not None) == said.advice.startswith("goes with the re-fixture")
        assert (one.like is not None) == said.advice.startswith("do as at")
        assert (one.reason != "") == (one.state == "unseen")


def test_data_for_drawing(record: InspectionRecord) -> None:
    data = profile_data(record)
    json.dumps(data, allow_nan=False)
    stations = record.profile.stations
    assert len(data["at"]) == len(data["gap"]) == len(data["u"]) == len(data["state"]) == len(stations)
    assert [data["gap"][k] is None for k in range(len(stations))] == [one.gap_mm is None for one in stations]
    line, across = np.array(data["photo"]["line"]), np.array(data["photo"]["across"])
    for k, one in enumerate(stations):
        if one.near_px is not None:
            assert line[k] + across[k] == pytest.approx(one.near_px, abs=0.1)
    assert np.isfinite(line).all()
    assert np.abs(np.diff(line, axis=0)).max() < 20  # no jump where nothing was seen


def test_a_blade_that_stays_out_takes_a_spot_away(record: InspectionRecord) -> None:
    joint = judged_joint(record)
    unseen = next(one for one in joint.spots if one.state == "unseen")
    reading = FeelerReading(
        blades_mm=(0.5, 0.3), goes_in=False, start_mm=unseen.start_mm, end_mm=unseen.end_mm
    )
    settled = settle(joint, [reading])
    view, data = result_view(record, settled), profile_data(record, settled)
    assert len(view.spots) == len(record.verdict.spots) - 1
    inside = joint.inside(unseen.start_mm, unseen.end_mm).nonzero()[0]
    assert {data["state"][k] for k in inside} == {"w"}
    assert all(one.gap_mm is not None for one in view.spots if one.state in ("over", "doubtful"))


def shown(shot: Shot) -> str:
    told = {**vars(shot), "message": shot.sentence, "position": 0, "may_be_tried_again": True}
    return bytes(page(asked("/s/0"), "shot.html", shot=told).body).decode()


def test_a_failed_photo_says_what_failed_once() -> None:
    names = ("id", "digest", "job", "joint", "name", "who", "phone_id", "received_at_utc")
    shot = Shot(
        **dict.fromkeys(names, "0"), state="failed", code=2, error="a.jpg is a text file, not a photo."
    )
    told = shown(shot)
    assert told.count("text file") == 1
    assert "The photo could not be measured" not in told
    # Measured, but not kept: the verdict is not what failed, and no result to rely on.
    told = shown(replace(shot, code=6, verdict="within", sentence="within: all seen", error="no space left."))
    assert "no space left." in told
    assert "Tell who looks after the computer" in told
    assert "within: all seen" not in told
    assert "The photo could not be measured" in shown(replace(shot, error=""))


def test_the_largest_gap_is_that_seen_where_something_was_not(record: InspectionRecord) -> None:
    for share, told in ((1.0, "Largest gap<"), (0.72, "Largest gap seen<")):
        verdict = record.verdict.model_copy(update={"seen_share": share})
        one = record.model_copy(update={"verdict": verdict})
        values = {"job": "RT-40", "joint": "J1", "entry": 7, "files": [], "newest": True, "shot": None}
        made = page(asked("/r/7"), "result.html", record=one, settled=None, **values)
        assert told in bytes(made.body).decode()


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("units", ["mm", "inch"])
def test_pages_render_whatever_people_are_called(record: InspectionRecord, language: str, units: str) -> None:
    about = dict.fromkeys(("job", "part", "joint", "serial", "who", "day"), '"><script>alert(1)</script>{x}')
    result = page(
        asked("/r/7", language=language, units=units),
        "result.html",
        job=about["job"],
        joint=about["joint"],
        entry=7,
        record=record,
        settled=None,
        files=[],
        newest=False,
        shot="0" * 64,
    )
    entry = page(
        asked("/qc/7", language=language, units=units),
        "qc_entry.html",
        entry=7,
        kind="inspection",
        digest="d",
        previous="p",
        added_at="2026-03-04T12:00:00Z",
        about=about,
        original=about,
        note=about["who"],
        void=True,
        record=record,
        files=[],
        later=[],
    )
    for told in (bytes(result.body).decode(), bytes(entry.body).decode()):
        assert f'<html lang="{language}">' in told
        assert "<script>alert" not in told
        assert "onclick" not in re.sub(r"&lt;.*?&gt;", "", told)
        words = re.sub(r"<script.*?</script>", "", told, flags=re.DOTALL).replace("{x}", "")
        assert not re.search(r"\{[a-z_]+\}", words), "a value that was not put in"

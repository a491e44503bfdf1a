"""What people do with a result: settle, note the outcome, correct, search, report, export, verify, label."""

from __future__ import annotations

import errno
import io
import os
import zipfile
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
import pdfplumber
import pypdfium2
import pytest
from fastapi import FastAPI

from fitup.errors import PhotoError
from fitup.evidence.archive.archive import open_archive
from fitup.evidence.archive.importing import import_bag, read_bag
from fitup.evidence.archive.laying_out import settlements_of
from fitup.phone.labels import Label, labels_pdf
from fitup.phone.office_work import check_photo
from tests.conftest import SCENES
from tests.drawn_joint import save
from tests.phone.shop_app import Phone, phone_of, running, settings_in


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    folder = tmp_path_factory.mktemp("photos")
    return {name: save(SCENES[name], folder / "photo.jpg").read_bytes() for name in ("opening", "hairline")}


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    settings = settings_in(tmp_path_factory.mktemp("shop"), address="http://192.168.1.20:8731")
    with running(settings) as made:
        yield made


@pytest.fixture(scope="module")
def welder(app: FastAPI) -> Phone:
    return phone_of(app, "Ana", "welder")


@pytest.fixture(scope="module")
def quality(app: FastAPI) -> Phone:
    return phone_of(app, "Cleo", "qc")


@pytest.fixture(scope="module")
def before(welder: Phone, photos: dict[str, bytes]) -> int:
    entry = welder.measured(photos["opening"])["entry"]
    assert entry is not None
    return int(entry)


class TestSettling:
    def test_a_reading_settles_the_verdict_for_everybody(
        self, app: FastAPI, welder: Phone, before: int
    ) -> None:
        spots = welder.get(f"/api/entries/{before}/profile.json")["spots"]
        unseen = next(one for one in spots if one["state"] == "unseen")
        reading = {
            "entry": before,
            "job": "RT-40",
            "blades": "0.50mm+0.15mm",
            "goes_in": False,
            "from_mm": unseen["start"],
            "to_mm": unseen["end"],
            "remark": "clean",
        }
        answer = welder.post("/api/joints/J1/settlements", json=reading)
        assert answer.status_code == 201, answer.text
        told = answer.json()
        after = welder.get(f"/api/entries/{before}/profile.json")["spots"]
        assert len(after) == len(spots) - 1
        archive = open_archive(app.state.settings.archive)
        settlements = settlements_of(archive, before)
        assert [one.who for one in settlements.records] == ["Ana"]
        assert settlements.records[0].reading is not None
        assert settlements.records[0].reading.blades_mm == (0.5, 0.15)
        assert settlements.verdict.word.value == told["verdict"]
        assert archive.entry(told["entry"]).entry.kind == "settlement"
        withdrawn = welder.post("/api/joints/J1/settlements", json={"entry": before, "withdraw": 1})
        assert withdrawn.status_code == 201
        assert welder.get(f"/api/entries/{before}/profile.json")["spots"] == spots

    @pytest.mark.parametrize(
        ("change", "said"),
        [
            ({"blades": ""}, "which blade"),
            ({"goes_in": None}, "which blade"),
            ({"blades": "thick"}, ""),
            ({"from_mm": None}, "say where"),
            ({"from_mm": 5000.0, "to_mm": 6000.0}, ""),
            ({"from_mm": "1 parsec"}, ""),
            ({"spot": 99, "from_mm": None}, "spot"),
            ({"withdraw": 77}, "no reading"),
        ],
    )
    def test_what_does_not_fit_is_said(
        self, welder: Phone, before: int, change: dict[str, object], said: str
    ) -> None:
        reading = {"entry": before, "blades": "0.5mm", "goes_in": True, "from_mm": 10.0, "to_mm": 20.0}
        answer = welder.post("/api/joints/J1/settlements", json={**reading, **change})
        assert answer.status_code == 400, answer.text
        assert said in answer.json()["error"]

    def test_only_of_its_own_joint_and_not_by_fitters(self, app: FastAPI, welder: Phone, before: int) -> None:
        reading = {"entry": before, "blades": "0.5mm", "goes_in": True, "from_mm": 10.0, "to_mm": 20.0}
        assert welder.post("/api/joints/J3/settlements", json=reading).status_code == 400
        fitter = phone_of(app, "Ben", "fitter")
        assert fitter.post("/api/joints/J1/settlements", json=reading).status_code == 403


class TestOutcome:
    def test_with_a_photo(self, app: FastAPI, welder: Phone, before: int, photos: dict[str, bytes]) -> None:
        told = {"word": "repaired", "bead_colour": "straw", "penetration": "partial", "note": "pore at 40"}
        files = {"photo": ("../bead.jpg", photos["hairline"], "image/jpeg")}
        answer = welder.post(f"/api/entries/{before}/outcome", data=told, files=files)
        assert answer.status_code == 201, answer.text
        entry = open_archive(app.state.settings.archive).entry(answer.json()["entry"]).entry
        assert entry.outcome is not None
        assert (entry.outcome.word, entry.outcome.penetration) == ("repaired", "partial")
        assert entry.note == "pore at 40"
        assert [(one.role, one.name) for one in entry.files] == [("photo", "bead.jpg")]
        shown = welder.client.get(f"/api/entries/{entry.number}/outcome.jpg?most=400")
        assert shown.headers["content-type"] == "image/jpeg"

    def test_without_one_as_a_browser_sends_it(self, welder: Phone, before: int) -> None:
        files = {"photo": ("", b"", "application/octet-stream")}
        answer = welder.post(f"/api/entries/{before}/outcome", data={"word": "sound"}, files=files)
        assert answer.status_code == 201, answer.text

    def test_a_photo_is_opened_also_where_files_have_one_name_only(
        self, tmp_path: Path, photos: dict[str, bytes], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def refused(*_: object) -> None:
            raise OSError(errno.EPERM, "Operation not permitted")

        monkeypatch.setattr(os, "link", refused)
        (tmp_path / "arrived").write_bytes(photos["hairline"])
        check_photo(lambda _: None, tmp_path / "arrived", "bead.jpg")
        (tmp_path / "arrived").write_bytes(b"no photo")
        with pytest.raises(PhotoError, match=r"bead\.jpg"):
            check_photo(lambda _: None, tmp_path / "arrived", "bead.jpg")

    def test_what_is_no_photo_or_no_outcome(self, app: FastAPI, welder: Phone, before: int) -> None:
        files = {"photo": ("a.jpg", b"<svg onload=alert(1)>", "image/jpeg")}
        answer = welder.post(f"/api/entries/{before}/outcome", data={"word": "sound"}, files=files)
        assert answer.status_code == 400
        assert welder.post(f"/api/entries/{before}/outcome", data={"word": "great"}).status_code == 422
        assert list(app.state.shop.store.incoming.iterdir()) == []


class TestQuality:
    def test_search_finds_by_every_field(self, quality: Phone, welder: Phone, before: int) -> None:
        assert welder.post(f"/api/entries/{before}/outcome", data={"word": "sound"}).status_code == 201
        entry = quality.get(f"/api/search?joint=j1&kind=inspection&job=RT-40&who=Ana&before={before + 1}")
        assert [one["entry"] for one in entry["found"]] == [before]
        assert quality.get("/api/search?joint=J99")["found"] == []
        assert quality.get("/api/search?most=1")["more"] is True
        assert quality.client.get("/api/search?from_day=yesterday").status_code == 422
        assert welder.client.get("/api/search").status_code == 403

    def test_a_correction_moves_a_result_to_its_joint(
        self, quality: Phone, welder: Phone, photos: dict[str, bytes]
    ) -> None:
        entry = welder.measured(photos["hairline"], "J3")["entry"]
        right = {"joint": "J 2/Ä", "why": "wrong label scanned"}
        assert welder.post(f"/api/entries/{entry}/corrections", json=right).status_code == 403
        assert quality.post(f"/api/entries/{entry}/corrections", json=right).status_code == 201
        assert _in_force(welder) == {"J1": welder.measured(photos["opening"])["entry"], "J 2/Ä": entry}
        void = {"void": True, "why": "not this tank"}
        assert quality.post(f"/api/entries/{entry}/corrections", json=void).status_code == 201
        assert "J 2/Ä" not in _in_force(welder)

    def test_the_report_tells_of_settlements(self, quality: Phone, before: int) -> None:
        answer = quality.client.get(f"/api/entries/{before}/report.pdf")
        with pypdfium2.PdfDocument(answer.content) as document:
            text = "".join(page.get_textpage().get_text_range() for page in document)
        assert "rinse tank" in text
        assert "Ana" in text
        page = quality.client.get(f"/api/entries/{before}/report.html")
        assert page.headers["content-security-policy"].startswith("sandbox")

    def test_the_export_is_a_bag_that_another_archive_imports(
        self, quality: Phone, before: int, tmp_path: Path
    ) -> None:
        answer = quality.client.get(f"/api/entries/{before}/bag.zip")
        with zipfile.ZipFile(io.BytesIO(answer.content)) as packed:
            packed.extractall(tmp_path)
        other = open_archive(str(tmp_path / "other"), create=True)
        imported = import_bag(other, read_bag(tmp_path / f"entry-{before}"))
        numbers = {one.was.entry.number for one in imported}
        assert before in numbers
        later = quality.client.app.state.shop.archive.later(before)  # type: ignore[union-attr]
        assert {one.entry.number for one in later} <= numbers

    def test_verifying_finds_what_was_altered(self, tmp_path: Path, photos: dict[str, bytes]) -> None:
        settings = settings_in(tmp_path)
        with running(settings) as app:
            quality = phone_of(app, "Cleo", "qc")
            assert quality.get("/api/verify") == {"state": None}
            quality.measured(photos["hairline"])
            assert _verified(quality)["sound"] is True
            record = max((tmp_path / "archive").rglob("*"), key=lambda path: path.stat().st_size)
            record.chmod(0o600)
            record.write_bytes(record.read_bytes()[:-1] + b"x")
            state = _verified(quality)
            assert state["sound"] is False
            assert [one["kind"] for one in state["faults"]] == ["altered"]

    def test_no_letter_of_a_label_is_left_out(self) -> None:
        names = ("継手 1/2", "ملحوم", "Błażej", "X" * 60)
        labels = [
            Label(job="槽", part="Δοκιμή", joint=name, address="http://192.0.2.1/j/x") for name in names
        ]
        with pdfplumber.open(io.BytesIO(labels_pdf(labels))) as pdf:
            page = pdf.pages[0]
            said = page.extract_text()
            assert max(one["bottom"] for one in page.chars) < max(one["bottom"] for one in page.rects)
        assert "□□ 1/2" in said
        assert "Błażej" in said
        assert said.count("Δοκιμή") == len(names)
        assert said.count("□") == 2 + len(names)

    def test_labels_hold_the_joints_pages(self, quality: Phone) -> None:
        answer = quality.client.get("/api/labels.pdf?paper=Letter")
        with pypdfium2.PdfDocument(answer.content) as document:
            picture = np.asarray(document[0].render(scale=4).to_pil().convert("L"))
        middle, row = picture.shape[1] // 2, round(picture.shape[0] * 52 / 279.4)
        top = round(picture.shape[0] * 9.7 / 279.4)
        cells = [picture[top : top + row, :middle], picture[top : top + row, middle:]]
        cells.append(picture[top + row : top + 2 * row, :middle])
        # Another library reads the codes: OpenCV's detector.
        texts = [cv2.QRCodeDetectorAruco().detectAndDecode(np.ascontiguousarray(cell))[0] for cell in cells]
        base = "http://192.168.1.20:8731/j"
        assert set(texts) == {
            f"{base}/J1?job=RT-40",
            f"{base}/J%202%2F%C3%84?job=RT-40",
            f"{base}/J3?job=RT-40",
        }


class TestPages:
    def test_every_page_opens(self, quality: Phone, before: int, photos: dict[str, bytes]) -> None:
        shot = quality.measured(b"no photo", "J3")
        later = quality.post(f"/api/entries/{before}/outcome", data={"word": "sound"}).json()["entry"]
        pages = [
            "/",
            "/j/J1",
            "/j/J1?job=RT-40",
            "/j/J%202%2F%C3%84?job=RT-40",
            f"/r/{before}",
            f"/s/{shot['id']}",
        ]
        pages += ["/qc", "/qc?word=J1", f"/qc/{before}", f"/qc/{later}", "/qc/verify", "/qc/lenses"]
        for path in pages:
            answer = quality.client.get(path)
            assert answer.status_code == 200, (path, answer.text[:300])
            assert answer.headers["content-type"].startswith("text/html")
            assert "<b>look</b>" not in answer.text

    def test_a_newer_photo_without_a_result_is_told_to_everybody(
        self, app: FastAPI, photos: dict[str, bytes]
    ) -> None:
        sender, other = phone_of(app, "Ana", "fitter"), phone_of(app, "Bo", "welder")
        sender.measured(photos["opening"] + b"taken first", "J3")
        assert "could not be measured" not in other.client.get("/j/J3").text
        assert sender.measured(b"no photo of this joint", "J3")["state"] == "failed"
        seen = other.client.get("/j/J3").text
        assert "Ana sent a newer photo" in seen
        assert "The result below is older." in seen
        assert "Ana sent a newer photo" not in sender.client.get("/j/J3").text  # told as a photo of hers
        sender.measured(photos["hairline"] + b"taken anew", "J3")
        assert "could not be measured" not in other.client.get("/j/J3").text

    def test_what_is_not_there(self, quality: Phone, welder: Phone) -> None:
        for path in (
            "/j/J99",
            "/r/9999",
            "/s/" + "0" * 64,
            "/qc/9999",
            "/nothing",
            "/r/99999999999999999999",
        ):
            answer = quality.client.get(path)
            assert answer.status_code in (404, 422), path
            assert answer.headers["content-type"].startswith("text/html")
        for path in ("/api/entries/9999/profile.json", "/api/shots/x", "/api/samples/1"):
            assert set(quality.client.get(path).json()) == {"error", "code"}
        assert welder.client.get("/qc").status_code == 403

    def test_a_fitter_sees_what_is_in_force_and_his_own(
        self, app: FastAPI, welder: Phone, before: int, photos: dict[str, bytes]
    ) -> None:
        fitter = phone_of(app, "Ben", "fitter")
        assert fitter.client.get(f"/r/{before}").status_code == 200
        newer = welder.measured(photos["hairline"], "J1")["entry"]
        assert fitter.client.get(f"/api/entries/{newer}/profile.json").status_code == 200
        for path in ("profile.json", "record.json", "picture.jpg", "overlay.jpg"):
            assert fitter.client.get(f"/api/entries/{before}/{path}").status_code == 404
        for path in ("report.pdf", "bag.zip", "files/1"):
            assert fitter.client.get(f"/api/entries/{newer}/{path}").status_code == 403
        compared = welder.client.get("/j/J1").text
        assert f"/r/{before}" in compared


def _in_force(phone: Phone) -> dict[str, int]:
    joints = phone.get("/api/joints")["jobs"][0]["joints"]
    return {one["name"]: one["entry"] for one in joints if one["entry"] is not None}


def _verified(phone: Phone) -> dict[str, object]:
    assert phone.post("/api/verify").status_code in (200, 202)
    while (state := phone.get("/api/verify")["state"])["running"]:
        pass
    return dict(state)

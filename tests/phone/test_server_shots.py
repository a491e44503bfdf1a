"""Photos as phones send them: measured, known again, refused; from the first byte to the archive."""

from __future__ import annotations

import struct
import threading
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from fastapi import FastAPI

from fitup.evidence.archive.archive import open_archive
from fitup.evidence.archive.finding import Query
from fitup.inspection import InspectionSettings, inspect
from fitup.phone.intake import photo_name
from fitup.verdict import parse_sheet, parse_wire
from tests.conftest import SCENES
from tests.drawn_joint import save
from tests.phone.shop_app import Phone, commented, digest_of, phone_of, running, settings_in


@pytest.fixture(scope="module")
def photo_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return save(SCENES["opening"], tmp_path_factory.mktemp("photo") / "opening.jpg")


@pytest.fixture(scope="module")
def photo(photo_file: Path) -> bytes:
    return photo_file.read_bytes()


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    with running(settings_in(tmp_path_factory.mktemp("shop"))) as made:
        yield made


@pytest.fixture(scope="module")
def phone(app: FastAPI) -> Phone:
    return phone_of(app, "Ana Marín")


class TestTheRoad:
    def test_a_photo_becomes_an_archived_result(
        self, app: FastAPI, phone: Phone, photo: bytes, photo_file: Path
    ) -> None:
        answer = phone.send(photo, name="IMG 0001.jpg")
        assert answer.status_code == 202
        shot = phone.follow(answer.json())
        assert (shot["state"], shot["error"]) == ("done", "")
        archive = open_archive(app.state.settings.archive)
        entry = archive.entry(shot["entry"]).entry
        expected = inspect(
            photo_file, InspectionSettings(wire=parse_wire("0.9mm"), sheet=parse_sheet("1.5mm", None))
        )
        assert entry.about.verdict == expected.verdict.word.value == shot["verdict"]
        assert entry.about.largest_gap_um == round(1000 * expected.verdict.largest_gap_mm)
        assert (entry.about.who, entry.about.job, entry.about.part) == ("Ana Marín", "RT-40", "rinse tank")
        roles = {one.role: one for one in entry.files}
        assert set(roles) == {"record", "photo", "overlay", "plot", "table"}
        assert roles["photo"].sha256 == digest_of(photo)
        assert roles["photo"].name == "IMG 0001.jpg"
        assert not app.state.shop.store.photo(digest_of(photo)).exists()  # the archive has it
        assert list(app.state.shop.store.work.iterdir()) == []

    def test_sent_again_it_is_known(self, app: FastAPI, phone: Phone, photo: bytes) -> None:
        first = phone.measured(photo)
        again = phone.send(photo)
        assert again.status_code == 200
        assert again.json()["entry"] == first["entry"]
        assert len(open_archive(app.state.settings.archive).search(Query(joint="J1"))) == 1

    def test_for_another_joint_it_is_another(self, phone: Phone, photo: bytes) -> None:
        first, other = phone.measured(photo), phone.measured(photo, "J 2/Ä")
        assert other["entry"] not in (None, first["entry"])
        listed = {one["name"]: one for one in phone.get("/api/joints")["jobs"][0]["joints"]}
        assert listed["J 2/Ä"]["entry"] == other["entry"]
        assert listed["J3"]["verdict"] is None

    def test_four_phones_at_once_give_one_result(self, app: FastAPI, photo: bytes) -> None:
        phones = [phone_of(app, f"Phone {k}") for k in range(4)]
        answers = []
        threads = [
            threading.Thread(target=lambda one=one: answers.append(one.send(photo, "J3"))) for one in phones
        ]
        for one in threads:
            one.start()
        for one in threads:
            one.join()
        assert sorted(answer.status_code for answer in answers) == [200, 200, 200, 202]
        assert len({answer.json()["id"] for answer in answers}) == 1
        entries = {one.follow(answers[0].json())["entry"] for one in phones}
        assert len(entries) == 1

    def test_ten_phones_at_once_each_get_their_own(self, app: FastAPI, photo: bytes) -> None:
        phones = [phone_of(app, f"Phone {k}", "fitter") for k in range(10)]
        shots: dict[int, dict[str, Any]] = {}

        def run(number: int) -> None:
            shots[number] = phones[number].measured(commented(photo, f"phone {number}"), "J3")

        threads = [threading.Thread(target=run, args=(number,)) for number in range(10)]
        for one in threads:
            one.start()
        for one in threads:
            one.join()
        assert [shots[k]["state"] for k in range(10)] == ["done"] * 10
        archive = open_archive(app.state.settings.archive)
        whose = {k: archive.entry(shots[k]["entry"]).entry.about.who for k in range(10)}
        assert whose == {k: f"Phone {k}" for k in range(10)}

    def test_tapped_points_measure_again(self, phone: Phone, photo: bytes) -> None:
        shot = phone.measured(photo)
        line = phone.get(f"/api/entries/{shot['entry']}/profile.json")["photo"]["line"]
        answer = phone.post(f"/api/shots/{shot['id']}/points", json={"points": [line[20], line[-20]]})
        assert answer.status_code == 202
        again = phone.follow(answer.json())
        assert again["state"] == "done"
        assert again["id"] != shot["id"]
        record = phone.get(f"/api/entries/{again['entry']}/record.json")
        assert record["joint"]["given_by"] == "person"
        bad = phone.post(f"/api/shots/{shot['id']}/points", json={"points": [[1, 2]]})
        assert bad.status_code == 422

    def test_pictures_are_upright_and_scaled(self, phone: Phone, photo: bytes) -> None:
        shot = phone.measured(photo)
        own = cv2.imdecode(np.frombuffer(photo, np.uint8), cv2.IMREAD_COLOR)
        for path in (f"/api/entries/{shot['entry']}", f"/api/shots/{shot['id']}"):
            answer = phone.client.get(f"{path}/picture.jpg?most=700")
            assert answer.headers["cache-control"].startswith("private, max-age=")
            seen = cv2.imdecode(np.frombuffer(answer.content, np.uint8), cv2.IMREAD_COLOR)
            assert max(seen.shape) == 800
            assert seen.shape[0] / seen.shape[1] == pytest.approx(own.shape[0] / own.shape[1], rel=0.01)
        part = phone.client.get(f"/api/entries/{shot['entry']}/picture.jpg?most=4000&box=100,200,500,450")
        cut = cv2.imdecode(np.frombuffer(part.content, np.uint8), cv2.IMREAD_GRAYSCALE)
        assert cut.shape == (250, 400)
        assert np.abs(cut.astype(float) - own[200:450, 100:500].mean(axis=2)).mean() < 6


class TestRefused:
    def test_a_wrong_digest(self, app: FastAPI, phone: Phone, photo: bytes) -> None:
        answer = phone.send(photo[:-1], digest=digest_of(photo))
        assert (answer.status_code, answer.json()["code"]) == (400, 2)
        assert "send it again" in answer.json()["error"]
        assert list(app.state.shop.store.incoming.iterdir()) == []
        assert phone.client.get("/api/shots").json()["shots"][0]["id"] != digest_of(photo[:-1])

    def test_too_large_and_empty(self, tmp_path: Path) -> None:
        app_of_small = settings_in(tmp_path, photo_bytes_max=10_000)
        with running(app_of_small) as app:
            phone = phone_of(app)
            assert phone.send(bytes(10_001)).status_code == 413
            assert phone.send(b"").status_code == 400
            assert phone.get("/api/shots") == {"shots": []}
            assert [one for one in app.state.shop.store.photos.rglob("*") if one.is_file()] == []

    @pytest.mark.parametrize("joint", ["J9", "", "../J1", "J1\x00"])
    def test_an_unknown_joint(self, phone: Phone, photo: bytes, joint: str) -> None:
        answer = phone.send(photo, joint)
        assert answer.status_code == 400
        assert "no such joint" in answer.json()["error"]

    def test_what_is_no_photo_fails_with_a_sentence(self, phone: Phone) -> None:
        shot = phone.measured(b"<script>alert(1)</script>", name='"><img src=x onerror=alert(1)>.jpg')
        assert (shot["state"], shot["code"], shot["entry"]) == ("failed", 2, None)
        assert "not a photo" in shot["error"]

    def test_a_bomb_is_refused_by_its_header(self, phone: Phone, photo: bytes) -> None:
        shot = phone.measured(_png_bomb(), name="bomb.png")
        assert (shot["state"], shot["code"]) == ("failed", 2)
        assert phone.measured(photo)["state"] == "done"

    def test_a_truncated_photo(self, phone: Phone, photo: bytes) -> None:
        shot = phone.measured(photo[: len(photo) // 2], name="results")
        assert (shot["state"], shot["code"]) == ("failed", 2)

    def test_a_photo_without_a_strip_is_a_retake(self, phone: Phone) -> None:
        plain = np.random.default_rng(5).integers(90, 130, (900, 1200), np.uint8)
        shot = phone.measured(cv2.imencode(".jpg", plain)[1].tobytes())
        assert (shot["state"], shot["code"], shot["verdict"]) == ("failed", 5, "retake")
        assert shot["reason"]
        assert shot["remedy"]
        assert shot["photo"] == {"width_px": 1200, "height_px": 900}
        assert (
            phone.client.get(f"/api/shots/{shot['id']}/picture.jpg").headers["content-type"] == "image/jpeg"
        )

    def test_other_phones_do_not_see_it_and_quality_control_does(
        self, app: FastAPI, phone: Phone, photo: bytes
    ) -> None:
        shot = phone.measured(photo)
        other, quality = phone_of(app, "Ben", "fitter"), phone_of(app, "Cleo", "qc")
        assert other.client.get(f"/api/shots/{shot['id']}").status_code == 404
        assert other.client.get(f"/api/shots/{shot['id']}/picture.jpg").status_code == 404
        assert quality.client.get(f"/api/shots/{shot['id']}").status_code == 200


class TestNames:
    @pytest.mark.parametrize(
        ("written", "kept"),
        [
            ("IMG_1.jpg", "IMG_1.jpg"),
            ("..%2F..%2Fetc%2Fpasswd", "passwd"),
            ("C%3A%5Ctemp%5Ca.heic", "a.heic"),
            ("%FF%00x.jpg", "__x.jpg"),
            ("....", "photo"),
            ("", "photo"),
            ("a" * 500 + ".jpeg", "a" * 112 + ".jpeg"),
            ("Foto%20%C3%B1.jpg", "Foto ñ.jpg"),
            ("%E5%90%8D" * 100 + ".jpg", "名" * 37 + ".jpg"),
        ],
    )
    def test_names_are_names_only(self, written: str, kept: str) -> None:
        assert photo_name(written) == kept


def _png_bomb() -> bytes:
    """A PNG of a few hundred bytes that says it has 3600 million pixels."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    header = struct.pack(">IIBBBBB", 60_000, 60_000, 8, 0, 0, 0, 0)
    pixels = zlib.compress(bytes(100_000))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", pixels) + chunk(b"IEND", b"")

"""Attacks on the running page: other people's records, text that is script, paths that lead elsewhere."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from PIL import Image

from fitup.phone.rate_limits import Rate, RateLimit
from tests.conftest import SCENES
from tests.drawn_joint import save
from tests.phone.gate_app import client
from tests.phone.shop_app import Phone, phone_of, running, settings_in

SCRIPT = '"><script>alert(1)</script>'


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    with running(settings_in(tmp_path_factory.mktemp("shop"))) as made:
        for limit in ("pairing", "strangers"):  # all phones of this test have one address
            setattr(made.state.gate.limits, limit, RateLimit(Rate(burst=1e9, per_s=1e9)))
        yield made


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> list[bytes]:
    """Two photos of one joint; their EXIF says script."""
    folder = tmp_path_factory.mktemp("photos")
    drawn = save(SCENES["opening"], folder / "drawn.jpg")
    found = []
    for quality in (92, 95):
        with Image.open(drawn) as image:
            exif = image.getexif()
            exif[0x010F] = exif[0x0110] = exif[0x013B] = SCRIPT  # make, model, artist
            image.save(folder / f"{quality}.jpg", quality=quality, exif=exif)
        found.append((folder / f"{quality}.jpg").read_bytes())
    return found


@pytest.fixture(scope="module")
def entries(app: FastAPI, photos: list[bytes]) -> list[int]:
    """The older result is Ana's, the newer Bo's; both fitters."""
    names = ("Ana", "Bo")
    shots = [
        phone_of(app, name, "fitter").measured(photo, name=f"{SCRIPT}.jpg")
        for name, photo in zip(names, photos, strict=True)
    ]
    return [shot["entry"] for shot in shots]


class TestOtherPeoplesRecords:
    @pytest.mark.parametrize("path", ["/r/{}", "/api/entries/{}/profile.json", "/api/entries/{}/picture.jpg"])
    def test_a_fitter_sees_his_own_and_the_one_in_force(
        self, app: FastAPI, entries: list[int], path: str
    ) -> None:
        def seen(name: str, entry: int, role: str = "fitter") -> int:
            return phone_of(app, name, role).client.get(path.format(entry)).status_code

        older, newer = entries
        assert [seen("Ana", older), seen("Ana", newer), seen("Bo", newer)] == [200, 200, 200]
        assert seen("Bo", older) in {403, 404}
        assert seen("Cy", older, "welder") == 200

    @pytest.mark.parametrize(
        "path",
        [
            "/qc",
            "/qc/1",
            "/qc/verify",
            "/qc/lenses",
            "/api/search",
            "/api/entries/1/bag.zip",
        ],
    )
    def test_the_archive_is_for_quality_control(self, app: FastAPI, entries: list[int], path: str) -> None:
        for role in ("fitter", "welder"):
            assert phone_of(app, "Dee", role).client.get(path).status_code == 403
        assert phone_of(app, "Eve", "qc").client.get(path).status_code == 200

    def test_a_fitter_records_no_outcome(self, app: FastAPI, entries: list[int]) -> None:
        fitter = phone_of(app, "Ana", "fitter")
        answer = fitter.post(f"/api/entries/{entries[0]}/outcome", json={"word": "sound"})
        assert answer.status_code == 403
        answer = fitter.post(f"/api/entries/{entries[0]}/corrections", json={"void": True, "why": "so"})
        assert answer.status_code == 403

    def test_a_photo_on_its_way_is_its_senders(self, app: FastAPI, photos: list[bytes]) -> None:
        ana, bo = phone_of(app, "Ana", "fitter"), phone_of(app, "Bo", "fitter")
        shot = ana.send(photos[0], "J3").json()
        assert ana.client.get(f"/api/shots/{shot['id']}").status_code == 200
        for path in (f"/api/shots/{shot['id']}", f"/s/{shot['id']}", f"/api/shots/{shot['id']}/picture.jpg"):
            assert bo.client.get(path).status_code == 404
        again = bo.post(f"/api/shots/{shot['id']}/points", json={"points": [[1, 1], [2, 2]]})
        assert again.status_code == 404

    def test_a_stranger_gets_nothing_of_it(self, app: FastAPI, entries: list[int]) -> None:
        stranger = client(app)
        for path in (f"/r/{entries[0]}", "/j/J1", "/", "/qc"):
            assert stranger.get(path).headers["location"] == "/pair"
        for path in (f"/api/entries/{entries[0]}/picture.jpg", "/api/joints", "/api/samples"):
            assert stranger.get(path).status_code == 401


class TestTextThatIsScript:
    def test_is_shown_as_text(self, app: FastAPI, entries: list[int]) -> None:
        qc = phone_of(app, SCRIPT, "qc")
        entry = entries[1]
        told = {"word": "scrapped", "note": SCRIPT, "bead_colour": SCRIPT, "penetration": "none"}
        outcome = qc.post(f"/api/entries/{entry}/outcome", json=told)
        assert outcome.status_code in {201, 400, 422}, outcome.text
        paths = [
            "/",
            "/j/J1",
            "/j/J3",
            f"/r/{entry}",
            f"/qc/{entry}",
            "/qc",
            f"/qc?words={SCRIPT}",
            "/qc/lenses",
        ]
        pages = {path: qc.client.get(path) for path in paths}
        for path, page in pages.items():
            assert page.status_code == 200, path
            assert "<script>alert" not in page.text, path
            assert "<b>look</b>" not in page.text, path
        assert "&lt;script&gt;alert" in pages[f"/qc/{entry}"].text

    def test_in_the_report_too(self, app: FastAPI, entries: list[int]) -> None:
        answer = phone_of(app, "Eve", "qc").client.get(f"/api/entries/{entries[1]}/report.html")
        assert answer.status_code == 200
        assert "<script>alert" not in answer.text
        assert answer.headers["content-security-policy"].startswith("sandbox")

    def test_a_name_makes_no_header_of_its_own(self, app: FastAPI, entries: list[int]) -> None:
        qc = phone_of(app, "Eve", "qc").client
        answers = [qc.get(f"/api/entries/{entries[0]}/files/{number}") for number in range(4)]
        there = [answer for answer in answers if answer.status_code == 200]
        assert len(there) >= 3
        for answer in there:
            assert "<script>" not in str(answer.headers)
            assert answer.headers["x-content-type-options"] == "nosniff"


class TestPathsThatLeadElsewhere:
    @pytest.mark.parametrize(
        "path",
        [
            "/static/x/../../../../etc/passwd",
            "/static/x/..%2f..%2f..%2fetc%2fpasswd",
            "/static/x/%2e%2e/%2e%2e/pyproject.toml",
            "/static/x//etc/passwd",
            "/api/samples/..%2f..%2fjoints.toml",
            "/api/samples/%2fetc%2fpasswd",
            "/api/entries/..%2f1/photo",
            "/api/entries/1/..%2f..%2fsigning.key",
            "/api/shots/..%2f..%2fstate/picture.jpg",
            "/j/..%2f..%2fetc%2fpasswd",
            "/s/..%2fphones.json",
        ],
    )
    def test_find_nothing(self, app: FastAPI, entries: list[int], path: str) -> None:
        answer = phone_of(app, "Eve", "qc").client.get(path)
        assert answer.status_code in {400, 404, 422}, answer.text[:200]
        assert "root:" not in answer.text

    @pytest.mark.parametrize(
        "name", ["../../evil.jpg", "/etc/passwd", "..\\..\\evil.jpg", "a\r\nX-Evil: 1.jpg", "\0"]
    )
    def test_a_photos_name_is_only_a_name(
        self, app: FastAPI, photos: list[bytes], tmp_path: Path, name: str
    ) -> None:
        phone: Phone = phone_of(app, "Ana", "fitter")
        sent = phone.send(photos[0] + name.encode(), "J3", name=name)
        assert sent.status_code in {200, 202, 400, 422}, sent.text
        if sent.status_code < 300:
            kept = sent.json()["name"]
            assert "/" not in kept
            assert "\\" not in kept
            assert kept.isprintable()

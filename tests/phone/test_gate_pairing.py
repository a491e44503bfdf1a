"""Pairing: single use, expiring, forged, revoked; what strangers see; roles."""

from __future__ import annotations

import json
import re
import stat
from pathlib import Path

import pytest
from fastapi import FastAPI

from fitup.errors import StorageError, UsageError
from fitup.phone.gate_state import Gate
from fitup.phone.pairing import GOOD_FOR_S, PairingCodes
from fitup.phone.people import Person, may_act_as, may_see, person_name
from fitup.phone.phones import PhoneBook, signing_key
from tests.phone.gate_app import ADDRESS, client, pair, small_app, token_of


@pytest.fixture
def shop(tmp_path: Path) -> tuple[FastAPI, Gate]:
    return small_app(tmp_path)


class TestCodes:
    def test_a_code_pairs_one_phone_only(self, shop: tuple[FastAPI, Gate]) -> None:
        app, gate = shop
        code = gate.pairing_link(ADDRESS, "Ana", "welder").rpartition("/")[2]
        first, second = client(app), client(app)
        assert first.post("/pair", data={"code": code}).status_code == 303
        late = second.post("/pair", data={"code": code})
        assert late.status_code == 410
        assert not late.cookies
        assert first.get("/api/session").json()["role"] == "welder"
        assert second.get("/api/session").status_code == 401

    def test_looking_at_the_link_does_not_use_it_up(self, shop: tuple[FastAPI, Gate]) -> None:
        app, gate = shop
        link = gate.pairing_link(ADDRESS, "Ana", "fitter")
        assert [client(app).get(link).status_code for _ in range(3)] == [200, 200, 200]
        assert client(app).post("/pair", data={"code": link.rpartition("/")[2]}).status_code == 303

    def test_an_old_code_is_gone(self) -> None:
        now = [100.0]
        codes = PairingCodes(clock=lambda: now[0])
        invitation = codes.invite("Ana", "qc")
        now[0] += GOOD_FOR_S - 1
        assert codes.look(invitation.code) == invitation
        now[0] += 2
        assert codes.look(invitation.code) is None
        assert codes.use(invitation.code) is None

    @pytest.mark.parametrize("code", ["", "x", "../../etc", "a" * 150, "é" * 20, "%00"])
    def test_a_guessed_code_is_none(self, shop: tuple[FastAPI, Gate], code: str) -> None:
        app, gate = shop
        gate.pairing_link(ADDRESS, "Ana", "fitter")
        assert client(app).post("/pair", data={"code": code}).status_code == 410
        assert gate.phones.all() == ()

    def test_codes_cannot_be_tried_for_long(self, shop: tuple[FastAPI, Gate]) -> None:
        app, _ = shop
        phone = client(app)
        answers = [phone.post("/pair", data={"code": f"guess{k}"}).status_code for k in range(30)]
        assert answers[0] == 410
        assert answers[-1] == 429
        assert client(app, address="192.0.2.51").post("/pair", data={"code": "x"}).status_code == 410

    def test_codes_are_long_and_differ(self) -> None:
        codes = {PairingCodes().invite("Ana", "qc").code for _ in range(50)}
        assert len(codes) == 50
        assert min(map(len, codes)) >= 22  # 128 bits in base 64

    @pytest.mark.parametrize(("name", "role"), [("", "qc"), ("Ana", "boss"), ("\n", "qc"), ("x" * 81, "qc")])
    def test_only_people_with_a_name_and_a_role(self, name: str, role: str) -> None:
        with pytest.raises(UsageError):
            PairingCodes().invite(name, role)

    def test_not_without_end(self) -> None:
        codes = PairingCodes()
        for _ in range(100):
            codes.invite("Ana", "qc")
        with pytest.raises(UsageError, match="too many"):
            codes.invite("Ana", "qc")


class TestCookies:
    def test_a_restart_knows_the_phone_again(self, tmp_path: Path) -> None:
        phone = pair(*small_app(tmp_path), name="Zoë Ångström", role="qc")
        cookie = phone.cookies["fitup_phone"]
        again = client(small_app(tmp_path)[0])
        again.cookies.set("fitup_phone", cookie)
        assert again.get("/api/session").json()["name"] == "Zoë Ångström"

    def test_a_phone_that_was_taken_out_is_a_stranger(self, shop: tuple[FastAPI, Gate]) -> None:
        app, gate = shop
        phone = pair(app, gate)
        assert phone.get("/api/session").status_code == 200
        assert gate.phones.remove(gate.phones.all()[0].phone_id)
        assert phone.get("/api/session").status_code == 401

    @pytest.mark.parametrize("spoil", ["flip", "cut", "other key", "screen", "empty", "json"])
    def test_a_forged_cookie_opens_nothing(self, tmp_path: Path, spoil: str) -> None:
        app, gate = small_app(tmp_path / "a")
        good = pair(app, gate).cookies["fitup_phone"]
        other = pair(*small_app(tmp_path / "b")).cookies["fitup_phone"]
        phone_id = gate.phones.all()[0].phone_id
        screen = gate.sessions._serializer("fitup_screen").dumps([phone_id, "0"])
        forged = {
            "flip": ("A" if good[0] != "A" else "B") + good[1:],
            "cut": good[:-4],
            "other key": other,
            "screen": screen,
            "empty": "",
            "json": json.dumps([phone_id]),
        }[spoil]
        phone = client(app)
        phone.cookies.set("fitup_phone", forged)
        assert phone.get("/api/session").status_code == 401

    def test_scripts_and_other_sites_never_get_it(self, shop: tuple[FastAPI, Gate]) -> None:
        app, gate = shop
        code = gate.pairing_link(ADDRESS, "Ana", "fitter").rpartition("/")[2]
        header = client(app).post("/pair", data={"code": code}).headers["set-cookie"].lower()
        assert "httponly" in header
        assert "samesite=lax" in header
        assert "secure" not in header

    def test_over_https_it_stays_there(self, tmp_path: Path) -> None:
        app, gate = small_app(tmp_path, https=True)
        code = gate.pairing_link(ADDRESS, "Ana", "fitter").rpartition("/")[2]
        assert "secure" in client(app).post("/pair", data={"code": code}).headers["set-cookie"].lower()


class TestStrangers:
    @pytest.mark.parametrize("path", ["/", "/j/J3", "/qc", "/r/1", "/settings", "/nowhere", "/form"])
    def test_are_sent_to_pairing(self, shop: tuple[FastAPI, Gate], path: str) -> None:
        answer = client(shop[0]).get(path)
        assert (answer.status_code, answer.headers["location"]) == (303, "/pair")

    @pytest.mark.parametrize("path", ["/api/session", "/api/qc-only", "/api/nothing", "/openapi.json"])
    def test_get_no_data(self, shop: tuple[FastAPI, Gate], path: str) -> None:
        answer = client(shop[0]).get(path)
        assert answer.status_code == 401
        assert set(answer.json()) == {"error", "code"}

    def test_see_how_to_pair(self, shop: tuple[FastAPI, Gate]) -> None:
        answer = client(shop[0]).get("/pair")
        assert answer.status_code == 200
        assert "<form" not in answer.text

    @pytest.mark.parametrize("path", ["/static/../api/session", "/pair/../api/session", "//api/session"])
    def test_find_no_way_round(self, shop: tuple[FastAPI, Gate], path: str) -> None:
        assert client(shop[0]).get(path).status_code in {303, 401, 404, 410}
        answer = client(shop[0]).get(path.replace("..", "%2e%2e"))
        assert answer.status_code in {303, 401, 404, 410}


class TestRoles:
    @pytest.mark.parametrize(
        ("role", "welders", "qc_only"), [("fitter", 403, 403), ("welder", 200, 403), ("qc", 200, 200)]
    )
    def test_nest(self, shop: tuple[FastAPI, Gate], role: str, welders: int, qc_only: int) -> None:
        phone = pair(*shop, role=role)
        assert phone.get("/api/welders").status_code == welders
        assert phone.get("/api/qc-only").status_code == qc_only

    def test_what_a_fitter_sees(self) -> None:
        ana = Person(name="Ana", role="fitter", phone_id="1")
        assert may_see(ana, taken_by="Ana", current=False)
        assert may_see(ana, taken_by="Bo", current=True)
        assert not may_see(ana, taken_by="Bo", current=False)
        assert may_see(Person(name="Cy", role="welder", phone_id="2"), taken_by="Bo", current=False)

    def test_an_unknown_role_asked_for_is_a_fault(self) -> None:
        with pytest.raises(ValueError, match="not in tuple"):
            may_act_as(Person(name="Ana", role="qc", phone_id="1"), "boss")

    def test_a_name_is_shown_as_it_can_be(self) -> None:
        assert person_name("  李 \t 明 ") == "李 明"
        assert person_name("A\x00\u2028B") in {"A B", "A\u2028B".replace("\u2028", " ")}


class TestScreen:
    def _open(self, app: FastAPI, gate: Gate, address: str = "127.0.0.1") -> tuple[object, object]:
        here = client(app, address=address, base_url="http://127.0.0.1:8000")
        return here, here.get(gate.screen_link("http://127.0.0.1:8000"))

    def test_pairs_a_phone_from_name_to_cookie(self, shop: tuple[FastAPI, Gate]) -> None:
        app, gate = shop
        here, opened = self._open(app, gate)
        assert opened.status_code == 303
        token = re.search(r'name="token" value="([0-9a-f]+)"', here.get("/screen").text)[1]
        fields = {"name": "Bo <b>", "role": "qc", "token": token}
        page = here.post("/screen/phones", data=fields)
        assert page.status_code == 200
        assert "<svg" in page.text
        assert "Bo <b>" not in page.text
        link = re.search(rf'href="({re.escape(ADDRESS)}/pair/[^"]+)"', page.text)[1]
        phone = client(app)
        phone.post("/pair", data={"code": link.rpartition("/")[2]})
        assert phone.get("/api/session").json()["name"] == "Bo <b>"
        phone_id = gate.phones.all()[0].phone_id
        gone = here.post("/screen/phones/remove", data={"phone_id": phone_id, "token": token})
        assert gone.status_code == 303
        assert phone.get("/api/session").status_code == 401

    def test_opens_once(self, shop: tuple[FastAPI, Gate]) -> None:
        app, gate = shop
        link = gate.screen_link("http://127.0.0.1:8000")
        here = client(app, address="127.0.0.1", base_url="http://127.0.0.1:8000")
        assert here.get(link).status_code == 303
        other = client(app, address="127.0.0.1", base_url="http://127.0.0.1:8000")
        assert other.get(link).status_code == 403
        assert other.get("/screen").status_code == 403

    def test_opens_nowhere_else(self, shop: tuple[FastAPI, Gate]) -> None:
        app, gate = shop
        _, opened = self._open(app, gate, address="192.0.2.50")
        assert opened.status_code == 403
        qc = pair(app, gate, role="qc")
        assert qc.get("/screen").status_code == 403

    def test_a_phone_needs_its_token(self, shop: tuple[FastAPI, Gate]) -> None:
        here, _ = self._open(*shop)
        assert here.post("/screen/phones", data={"name": "Bo", "role": "qc"}).status_code == 403

    def test_says_what_is_wrong_with_a_name(self, shop: tuple[FastAPI, Gate]) -> None:
        here, _ = self._open(*shop)
        token = re.search(r'name="token" value="([0-9a-f]+)"', here.get("/screen").text)[1]
        page = here.post("/screen/phones", data={"name": " ", "role": "qc", "token": token})
        assert page.status_code == 400
        assert 'role="alert"' in page.text


class TestFiles:
    def test_the_key_is_for_the_server_alone(self, tmp_path: Path) -> None:
        key = signing_key(tmp_path / "state" / "signing.key")
        assert len(key) == 32
        assert signing_key(tmp_path / "state" / "signing.key") == key
        assert stat.S_IMODE((tmp_path / "state" / "signing.key").stat().st_mode) == 0o600
        assert [p.name for p in (tmp_path / "state").iterdir()] == ["signing.key"]

    @pytest.mark.parametrize("content", ["", "zz", "00" * 5, "é"])
    def test_a_damaged_key_is_told(self, tmp_path: Path, content: str) -> None:
        (tmp_path / "signing.key").write_text(content, "utf-8")
        with pytest.raises(StorageError):
            signing_key(tmp_path / "signing.key")

    @pytest.mark.parametrize(
        "content",
        [
            "",
            "[]",
            "{}",
            '{"phones": 5}',
            '{"phones": [{}]}',
            '{"phones": [{"phone_id": "1", "name": 2, "role": "qc", "paired_at": ""}]}',
            '{"phones": [{"phone_id": "1", "name": "A", "role": "boss", "paired_at": ""}]}',
        ],
    )
    def test_a_damaged_list_is_told(self, tmp_path: Path, content: str) -> None:
        (tmp_path / "phones.json").write_text(content, "utf-8")
        with pytest.raises(StorageError, match="damaged"):
            PhoneBook(tmp_path / "phones.json")

    def test_a_list_that_cannot_be_read_is_told(self, tmp_path: Path) -> None:
        (tmp_path / "phones.json").mkdir()
        with pytest.raises(StorageError):
            PhoneBook(tmp_path / "phones.json")

    def test_the_token_is_of_the_cookie(self, shop: tuple[FastAPI, Gate]) -> None:
        first, second = pair(*shop), pair(*shop)
        assert token_of(first) != token_of(second)

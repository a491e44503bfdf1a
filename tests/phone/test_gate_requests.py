"""What the gate lets in: origin and token, size and pace, names, rates; and what every answer carries."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.exceptions import HTTPException
from starlette.types import Message

from fitup.phone.bodies import BodyLimit, watched
from fitup.phone.gate_state import Gate
from fitup.phone.rate_limits import _MOST_KEPT, Rate, RateLimit
from tests.phone.gate_app import client, pair, small_app, token_of


@pytest.fixture
def shop(tmp_path: Path) -> tuple[FastAPI, Gate]:
    return small_app(tmp_path)


class TestTokens:
    def test_a_photo_needs_the_token(self, shop: tuple[FastAPI, Gate]) -> None:
        phone = pair(*shop)
        assert phone.post("/api/shots", content=b"x").status_code == 403
        wrong = phone.post("/api/shots", content=b"x", headers={"X-Fitup-Token": "0" * 64})
        assert wrong.status_code == 403
        right = phone.post("/api/shots", content=b"x", headers={"X-Fitup-Token": token_of(phone)})
        assert right.json() == {"came": 1}

    def test_another_phones_token_does_not_do(self, shop: tuple[FastAPI, Gate]) -> None:
        phone, other = pair(*shop), pair(*shop)
        headers = {"X-Fitup-Token": token_of(other)}
        assert phone.post("/api/shots", content=b"x", headers=headers).status_code == 403

    def test_a_form_brings_it_as_a_field_and_keeps_its_body(self, shop: tuple[FastAPI, Gate]) -> None:
        phone = pair(*shop)
        fields = {"note": "señal ü", "token": token_of(phone)}
        assert phone.post("/form", data=fields).json() == {"note": "señal ü"}
        assert phone.post("/form", data={"note": "x"}).status_code == 403
        many = {f"f{k}": "x" for k in range(200)}
        assert phone.post("/form", data={**many, **fields}).status_code == 403

    @pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
    def test_every_way_of_changing_needs_it(self, shop: tuple[FastAPI, Gate], method: str) -> None:
        assert pair(*shop).request(method, "/api/anything").status_code == 403

    @pytest.mark.parametrize(
        "headers",
        [
            {"Origin": "http://evil.example"},
            {"Origin": "null"},
            {"Origin": "http://["},
            {"Origin": "http://192.0.2.7:8001"},
            {"Sec-Fetch-Site": "cross-site"},
            {"Sec-Fetch-Site": "same-site"},
        ],
    )
    def test_not_from_another_page(self, shop: tuple[FastAPI, Gate], headers: dict[str, str]) -> None:
        phone = pair(*shop)
        headers = {"X-Fitup-Token": token_of(phone), **headers}
        assert phone.post("/api/shots", content=b"x", headers=headers).status_code == 403
        assert phone.post("/pair", data={"code": "x"}, headers=headers).status_code == 403

    def test_from_our_own_page(self, shop: tuple[FastAPI, Gate]) -> None:
        phone = pair(*shop)
        headers = {
            "X-Fitup-Token": token_of(phone),
            "Origin": "http://192.0.2.7:8000",
            "Sec-Fetch-Site": "same-origin",
        }
        assert phone.post("/api/shots", content=b"x", headers=headers).status_code == 200


class TestSizes:
    def test_a_photo_up_to_the_limit(self, shop: tuple[FastAPI, Gate]) -> None:
        phone = pair(*shop)
        headers = {"X-Fitup-Token": token_of(phone)}
        assert phone.post("/api/shots", content=b"x" * 300_000, headers=headers).status_code == 200
        over = phone.post("/api/shots", content=b"x" * 300_001, headers=headers)
        assert over.status_code == 413
        assert "smaller" in over.json()["error"]

    def test_no_announcement_no_way_round(self, shop: tuple[FastAPI, Gate]) -> None:
        phone = pair(*shop)
        pieces = (b"x" * 50_000 for _ in range(100))
        answer = phone.post("/api/shots", content=pieces, headers={"X-Fitup-Token": token_of(phone)})
        assert answer.status_code == 413

    def test_other_bodies_stay_small(self, shop: tuple[FastAPI, Gate]) -> None:
        phone = pair(*shop)
        fields = {"note": "x" * 65_000, "token": token_of(phone)}
        assert phone.post("/form", data=fields).status_code == 413
        assert client(shop[0]).post("/pair", data={"code": "x" * 65_000}).status_code == 413

    @pytest.mark.parametrize(("idle_s", "whole_s"), [(0.05, 10.0), (10.0, 0.05)])
    def test_too_slow_is_told(self, idle_s: float, whole_s: float) -> None:
        async def never() -> Message:
            await asyncio.sleep(30)
            raise AssertionError("the limit did not end it")

        receive = watched(never, BodyLimit(bytes_max=10, idle_s=idle_s, whole_s=whole_s), None)
        with pytest.raises(HTTPException) as caught:
            asyncio.run(receive())  # type: ignore[arg-type]
        assert caught.value.status_code == 408

    def test_after_the_body_waiting_is_no_slowness(self) -> None:
        async def story() -> Message:
            pieces = iter([{"type": "http.request", "body": b"x", "more_body": False}])

            async def receive() -> Message:
                piece = next(pieces, None)
                if piece is None:
                    await asyncio.sleep(0.1)
                    return {"type": "http.disconnect"}
                return piece

            watching = watched(receive, BodyLimit(bytes_max=10, idle_s=0.02), None)
            await watching()
            return await watching()

        assert asyncio.run(story())["type"] == "http.disconnect"


class TestNames:
    @pytest.mark.parametrize("host", ["evil.example", "evil.example:8000", "", "localhost.evil.example", "["])
    def test_a_strange_name_is_refused(self, shop: tuple[FastAPI, Gate], host: str) -> None:
        assert client(shop[0]).get("/pair", headers={"host": host}).status_code == 421

    @pytest.mark.parametrize("host", ["192.0.2.7", "[2001:db8::1]:8000", "LOCALHOST:1", "shop.example"])
    def test_its_own_are_known(self, tmp_path: Path, host: str) -> None:
        app, _ = small_app(tmp_path, host_names=("Shop.example",))
        assert client(app).get("/pair", headers={"host": host}).status_code == 200


class TestRates:
    def test_a_bucket_fills_again(self) -> None:
        now = [0.0]
        limit = RateLimit(Rate(burst=2, per_s=0.5), clock=lambda: now[0])
        assert [limit.wait_s("a"), limit.wait_s("a"), limit.wait_s("b")] == [0.0, 0.0, 0.0]
        assert limit.wait_s("a") == pytest.approx(2.0)
        now[0] = 2.0
        assert limit.wait_s("a") == 0.0
        assert limit.wait_s("a") > 0.0

    def test_memory_stays_bounded(self) -> None:
        limit = RateLimit(Rate(burst=2, per_s=1), clock=lambda: 0.0)
        for k in range(_MOST_KEPT + 50):
            limit.wait_s(str(k))
        assert len(limit._buckets) == _MOST_KEPT

    def test_one_phone_cannot_flood(self, shop: tuple[FastAPI, Gate]) -> None:
        phone, other = pair(*shop), pair(*shop)
        headers = {"X-Fitup-Token": token_of(phone)}
        answers = [phone.post("/api/shots", content=b"x", headers=headers) for _ in range(60)]
        refused = [a for a in answers if a.status_code == 429]
        assert refused
        assert int(refused[0].headers["retry-after"]) >= 1
        assert other.get("/api/session").status_code == 200


class TestHeaders:
    @pytest.mark.parametrize("path", ["/pair", "/", "/api/session", "/nowhere", "/screen"])
    def test_every_answer_carries_them(self, shop: tuple[FastAPI, Gate], path: str) -> None:
        headers = client(shop[0]).get(path).headers
        policy = dict(p.split(" ", 1) for p in headers["content-security-policy"].split("; "))
        assert policy["default-src"] == "'none'"
        assert policy["script-src"] == policy["style-src"] == "'self'"
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "same-origin"
        assert headers["cache-control"] == "no-store"

    def test_pages_hold_no_script_or_style_of_their_own(self, shop: tuple[FastAPI, Gate]) -> None:
        app, gate = shop
        here = client(app, address="127.0.0.1", base_url="http://127.0.0.1:8000")
        here.get(gate.screen_link("http://127.0.0.1:8000"))
        for page in (client(app).get("/pair"), here.get("/screen")):
            assert " style=" not in page.text
            assert "<style" not in page.text
            assert "onclick" not in page.text

    def test_a_web_socket_is_not_taken(self, shop: tuple[FastAPI, Gate]) -> None:
        sent: list[Message] = []

        async def send(message: Message) -> None:
            sent.append(message)

        async def receive() -> Message:
            return {"type": "websocket.connect"}

        asyncio.run(shop[0]({"type": "websocket", "path": "/", "headers": []}, receive, send))
        assert not any(m["type"] == "websocket.accept" for m in sent)

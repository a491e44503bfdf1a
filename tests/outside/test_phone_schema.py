"""The phone page's interface, asked at random by Schemathesis (a general-purpose tester of OpenAPI schemas).

Whatever fits the published schema, and much that does not, is answered without a server error, with what the
schema promises, and every refusal with one sentence and its code.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from fastapi import FastAPI
from hypothesis import HealthCheck, given, settings
from schemathesis.generation import GenerationMode

from fitup.phone.rate_limits import Rate, RateLimit
from tests.conftest import SCENES
from tests.drawn_joint import save
from tests.phone.shop_app import Phone, phone_of, running, settings_in

EXAMPLES = 12
MODES = (GenerationMode.POSITIVE, GenerationMode.NEGATIVE)
METHODS = {"get", "post", "put", "patch", "delete"}


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    """A shop with a measured joint in its archive, as entry 1."""
    folder = tmp_path_factory.mktemp("shop")
    photo = save(SCENES["opening"], folder / "opening.jpg").read_bytes()
    with running(settings_in(folder)) as app:
        assert phone_of(app).measured(photo)["entry"] == 1
        for limit in ("phones", "photos"):
            setattr(app.state.gate.limits, limit, RateLimit(Rate(burst=1e9, per_s=1e9)))
        yield app


def operations(schema: dict[str, Any]) -> list[tuple[str, str]]:
    return sorted((path, m) for path, item in schema["paths"].items() for m in item if m in METHODS)


def test_the_schema_names_what_phones_use(app: FastAPI) -> None:
    there = operations(app.openapi())
    assert {("/api/shots", "post"), ("/api/shots/{wanted}", "get")} <= set(there)
    assert len(there) >= 15


def test_no_question_is_a_server_error(app: FastAPI, subtests: pytest.Subtests) -> None:
    phone, schema = phone_of(app, role="qc"), app.openapi()
    for path, method in operations(schema):
        with subtests.test(path=path, method=method):
            ask_at_random(phone, schema, path, method)


def ask_at_random(phone: Phone, schema: dict[str, Any], path: str, method: str) -> None:
    operation = schemathesis.openapi.from_dict(schema)[path][method.upper()]
    fitting, other = (operation.as_strategy(generation_mode=mode) for mode in MODES)

    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        database=None,
        derandomize=True,
        suppress_health_check=list(HealthCheck),
    )
    @given(case=fitting | other)
    def ask(case: Any) -> None:
        told = case.as_transport_kwargs(base_url=str(phone.client.base_url))
        told["headers"] = {**dict(told.get("headers") or {}), **phone.headers}
        told.pop("cookies", None)
        if isinstance(told.get("data"), bytes | str):  # this client's name for a raw body
            told["content"] = told.pop("data")
        answer = phone.client.request(**told)
        assert answer.status_code < 500, (told, answer.text)
        assert "Traceback" not in answer.text
        if answer.status_code >= 400:
            refused = answer.json()
            assert set(refused) == {"error", "code"}, refused
            assert len(refused["error"]) > 10
            assert refused["code"] in {2, 5, 6}

    ask()

"""A small application behind the real gate: routes that stand for the server's own."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from fastapi import Depends, FastAPI, Request
from starlette.testclient import TestClient

from fitup.phone.gate import install_gate, role, signed_in
from fitup.phone.gate_state import Gate
from fitup.phone.people import Person

__all__ = ["GateSettingsForTests", "client", "pair", "small_app", "token_of"]

ADDRESS = "http://192.0.2.7:8000"  # an address for documentation, RFC 5737


@dataclass(frozen=True, kw_only=True)
class GateSettingsForTests:
    state_folder: Path
    host_names: tuple[str, ...] = ()
    https: bool = False
    photo_bytes_max: int = 300_000


def small_app(folder: Path, **settings: object) -> tuple[FastAPI, Gate]:
    app = FastAPI(docs_url=None, redoc_url=None)
    gate = install_gate(app, GateSettingsForTests(state_folder=folder, **settings))  # type: ignore[arg-type]
    gate.base_url = ADDRESS

    @app.get("/api/session")
    def session(request: Request, person: Annotated[Person, Depends(signed_in)]) -> dict[str, str]:
        return {"name": person.name, "role": person.role, "token": request.state.csrf_token}

    @app.post("/api/shots")
    async def shots(request: Request) -> dict[str, int]:
        came = 0
        async for piece in request.stream():
            came += len(piece)
        return {"came": came}

    @app.post("/form")
    async def form(request: Request) -> dict[str, str]:
        fields = await request.form()
        return {"note": str(fields["note"])}

    @app.get("/api/qc-only")
    def qc_only(person: Annotated[Person, Depends(role("qc"))]) -> str:
        return person.name

    @app.get("/api/welders")
    def welders(person: Annotated[Person, Depends(role("welder"))]) -> str:
        return person.name

    return app, gate


def client(app: FastAPI, *, address: str = "192.0.2.50", base_url: str = ADDRESS) -> TestClient:
    return TestClient(app, base_url=base_url, client=(address, 40000), follow_redirects=False)


def pair(app: FastAPI, gate: Gate, name: str = "Ana", role: str = "fitter") -> TestClient:
    """A phone that was paired as its person does: the link opened, the button pressed."""
    phone = client(app)
    link = gate.pairing_link(ADDRESS, name, role)
    page = phone.get(link)
    code = re.search(r'name="code" value="([^"]+)"', page.text)
    assert code, page.text
    assert phone.post("/pair", data={"code": code[1]}).status_code == 303
    return phone


def token_of(phone: TestClient) -> str:
    return str(phone.get("/api/session").json()["token"])

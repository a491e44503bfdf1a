"""The server as phones meet it: in this process with a client, or as a program of its own."""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import Any
from urllib.parse import quote

import httpx2
from fastapi import FastAPI
from starlette.testclient import TestClient

from fitup.job import read_job
from fitup.phone import PhoneSettings, ServedJob, create_app
from tests.phone.gate_app import ADDRESS, token_of
from tests.phone.gate_app import client as gate_client

JOB = """
job = "RT-40"
part = "rinse tank"
[defaults]
wire = "0.9mm"
sheet = "1.5mm"
[[joint]]
name = "J1"
[[joint]]
name = "J 2/Ä"
[[joint]]
name = "J3"
remark = "<b>look</b>"
"""
DONE = ("done", "failed")
_ADDRESSES = count()


def job_file(folder: Path) -> Path:
    path = folder / "joints.toml"
    path.write_text(JOB, encoding="utf-8")
    return path


def settings_in(folder: Path, **settings: Any) -> PhoneSettings:
    served = ServedJob(job=read_job(job_file(folder)))
    told = {"jobs": (served,), "archive": str(folder / "archive"), "state_folder": folder / "state"}
    return PhoneSettings(**{**told, "workers": 1, **settings})


def commented(photo: bytes, words: str) -> bytes:
    """The same photo with other bytes: a comment (JPEG, ITU T.81, B.2.4.5) behind its start."""
    told = words.encode()
    return photo[:2] + b"\xff\xfe" + (len(told) + 2).to_bytes(2, "big") + told + photo[2:]


def digest_of(photo: bytes) -> str:
    return hashlib.sha256(photo).hexdigest()


@dataclass(frozen=True, kw_only=True)
class Phone:
    """A paired phone, and what its page does."""

    client: TestClient | httpx2.Client
    token: str

    @property
    def headers(self) -> dict[str, str]:
        return {"X-Fitup-Token": self.token}

    def send(self, photo: bytes, joint: str = "J1", *, name: str = "IMG_1.jpg", digest: str = "") -> Any:
        headers = {
            **self.headers,
            "X-Fitup-Digest": digest or digest_of(photo),
            "X-Fitup-Job": "RT-40",
            "X-Fitup-Joint": quote(joint, safe=""),
            "X-Fitup-Name": quote(name, safe=""),
        }
        return self.client.post("/api/shots", content=photo, headers=headers)

    def follow(self, shot: dict[str, Any], seconds: float = 60) -> dict[str, Any]:
        end = time.monotonic() + seconds
        while shot["state"] not in DONE:
            assert time.monotonic() < end, shot
            shot = self.get(f"/api/shots/{shot['id']}?wait=10&seen={shot['version']}")
        return shot

    def measured(self, photo: bytes, joint: str = "J1", **told: str) -> dict[str, Any]:
        answer = self.send(photo, joint, **told)
        assert answer.status_code in (200, 202), answer.text
        return self.follow(answer.json())

    def get(self, path: str) -> Any:
        answer = self.client.get(path)
        assert answer.status_code == 200, (path, answer.status_code, answer.text[:300])
        return answer.json()

    def post(self, path: str, **told: Any) -> Any:
        return self.client.post(path, headers=self.headers, **told)


@contextlib.contextmanager
def running(settings: PhoneSettings) -> Iterator[FastAPI]:
    app = create_app(settings)
    with TestClient(app, client=("192.0.2.9", 50000)):
        yield app


def phone_of(app: FastAPI, name: str = "Ana", role: str = "welder") -> Phone:
    """A paired phone with an address of its own."""
    client = gate_client(app, address=f"192.0.2.{10 + next(_ADDRESSES) % 200}")
    code = app.state.gate.pairing_link(ADDRESS, name, role).rpartition("/")[2]
    assert client.post("/pair", data={"code": code}).status_code == 303
    return Phone(client=client, token=token_of(client))


class Program:
    """`fitup serve` as a process of its own."""

    def __init__(self, folder: Path, *options: str, workers: int = 1, scheme: str = "http") -> None:
        self.port = free_port()
        self.folder = folder
        self.base = f"{scheme}://127.0.0.1:{self.port}"
        command = [sys.executable, "-m", "fitup", "serve", "--host", "127.0.0.1", "--port", str(self.port)]
        self._command = [*command, "--out", str(folder), "--workers", str(workers), *options]
        self.output: list[str] = []
        self._phones: list[httpx2.Client] = []
        self._screen: httpx2.Client | None = None

    def start(self) -> None:
        environment = {**os.environ, "PYTHONUNBUFFERED": "1"}
        self.process = subprocess.Popen(
            self._command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=environment
        )
        assert self.process.stdout is not None
        self.output = []
        for line in self.process.stdout:
            self.output.append(line)
            if line.startswith("Ctrl-C"):
                break
        else:
            raise AssertionError("".join(self.output))
        self._wait()

    def kill(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(20)
        self._close()

    def interrupt(self) -> int:
        self.process.send_signal(signal.SIGINT)
        code = self.process.wait(20)
        self._close()
        return code

    def pair(self, name: str, role: str) -> Phone:
        """As at the shop computer: its own page by the printed link, a code, the phone scans it."""
        if self._screen is None:  # the printed link opens it once
            self._screen = httpx2.Client(base_url=self.base, follow_redirects=True)
            self._phones.append(self._screen)
            page = self._screen.get(self._link("/screen/open/"))
        else:
            page = self._screen.get("/screen")
        token = re.search(r'name="token" value="([^"]+)"', page.text)
        assert token, page.text[:500]
        screen, told = self._screen, {"name": name, "role": role, "token": token[1]}
        invited = _patiently(lambda: screen.post("/screen/phones", data=told))
        code = re.search(r"/pair/([A-Za-z0-9_-]+)", invited.text)
        assert code, invited.text[:500]
        phone = httpx2.Client(base_url=self.base, timeout=30)
        self._phones.append(phone)
        assert _patiently(lambda: phone.post("/pair", data={"code": code[1]})).status_code == 303
        return Phone(client=phone, token=phone.get("/api/session").json()["token"])

    @property
    def screen_link(self) -> str:
        """The address of the shop computer's own page, as it was printed."""
        return self._link("/screen/open/")

    def close(self) -> None:
        for phone in self._phones:
            phone.close()
        if self.process.poll() is None:
            self.kill()

    def _link(self, part: str) -> str:
        found = re.search(rf"http://\S+{part}\S+", "".join(self.output))
        assert found, self.output
        return found[0]

    def _wait(self) -> None:
        for _ in range(200):
            with contextlib.suppress(httpx2.HTTPError):
                if httpx2.get(f"{self.base}/healthz", verify=False).status_code == 200:
                    return
            time.sleep(0.05)
        raise AssertionError("the server does not answer")

    def _close(self) -> None:
        if self.process.stdout is not None:
            self.process.stdout.close()


def _patiently(ask: Callable[[], httpx2.Response]) -> httpx2.Response:
    """Ask again after the time that the server names, where it was too often at once."""
    while (answer := ask()).status_code == 429:
        time.sleep(float(answer.headers["retry-after"]))
    return answer


@contextlib.contextmanager
def program(folder: Path, *options: str, scheme: str = "http") -> Iterator[Program]:
    made = Program(folder, *options, scheme=scheme)
    made.start()
    try:
        yield made
    finally:
        made.close()


def children(pid: int) -> list[int]:
    """Processes that a process has started and that run, by /proc."""
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        with contextlib.suppress(OSError):
            if int(path.read_text().rpartition(")")[2].split()[1]) == pid:
                found.append(int(path.parent.name))
    return found


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])

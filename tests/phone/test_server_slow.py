"""Who opens a connection and says nothing, or next to nothing, is put out; who speaks is served."""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from collections.abc import Iterator

import pytest
import uvicorn
from starlette.applications import Starlette
from starlette.responses import PlainTextResponse
from starlette.routing import Route

from fitup.phone.patient_protocol import PatientProtocol


class Hasty(PatientProtocol):
    head_s_max = 0.4


@contextlib.contextmanager
def served() -> Iterator[int]:
    app = Starlette(routes=[Route("/", lambda request: PlainTextResponse("here"))])
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        server = uvicorn.Server(uvicorn.Config(app, http=Hasty, log_level="error", lifespan="off"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        while not server.started:
            time.sleep(0.01)
        try:
            yield int(listening.getsockname()[1])
        finally:
            server.should_exit = True
            thread.join()


def answer_to(port: int, *parts: bytes, pause_s: float) -> bytes:
    """What comes back for parts that are sent with pauses, until the server closes or nothing more comes."""
    with socket.create_connection(("127.0.0.1", port), timeout=3) as line:
        heard = b""
        for part in parts:
            line.sendall(part)
            time.sleep(pause_s)
        with contextlib.suppress(TimeoutError, ConnectionError):
            while more := line.recv(10_000):
                heard += more
        return heard


def test_silence_and_slow_heads_are_ended_and_others_served() -> None:
    with served() as port:
        begun = time.monotonic()
        assert answer_to(port, b"", pause_s=0) == b""
        assert answer_to(port, b"GET / HTTP/1.1\r\nHost: x\r\nX-A: ", pause_s=0) == b""
        assert time.monotonic() - begun < 2.5
        whole = b"GET / HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n"
        assert answer_to(port, whole, pause_s=0).endswith(b"here")


def test_a_second_request_is_watched_too() -> None:
    with served() as port:
        first = b"GET / HTTP/1.1\r\nHost: x\r\n\r\n"
        heard = answer_to(port, first, b"GET / HT", pause_s=0.1)
        assert heard.count(b"here") == 1


def test_byte_by_byte_does_not_help() -> None:
    with served() as port, pytest.raises(ConnectionError):
        _spell(port, b"GET / HTTP/1.1\r\nHost: " + 100 * b"x")


def _spell(port: int, text: bytes) -> None:
    with socket.create_connection(("127.0.0.1", port), timeout=3) as line:
        for sign in text:
            line.sendall(bytes([sign]))
            time.sleep(0.05)

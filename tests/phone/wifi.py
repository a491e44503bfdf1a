"""The shop's Wi-Fi between browser and server: it can be gone, for pages and workers alike."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Iterator

__all__ = ["Wifi", "wifi"]

_PIECE = 16_384


class Wifi:
    """A relay to a port of this computer, with an address of its own."""

    def __init__(self, port: int) -> None:
        self._server_port = port
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listener.getsockname()[1])
        self.up = True
        self._open: set[socket.socket] = set()
        self._lock = threading.Lock()
        threading.Thread(target=self._accept, daemon=True).start()

    @property
    def base(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def cut(self) -> None:
        """Every connection breaks, and none comes about until `mend`."""
        self.up = False
        with self._lock:
            for one in self._open:
                _end(one)
            self._open.clear()

    def mend(self) -> None:
        self.up = True

    def close(self) -> None:
        self.cut()
        _end(self._listener)

    def _accept(self) -> None:
        while True:
            try:
                phone, _ = self._listener.accept()
            except OSError:
                return
            threading.Thread(target=self._relay, args=(phone,), daemon=True).start()

    def _relay(self, phone: socket.socket) -> None:
        try:
            if not self.up:
                raise OSError("no connection")
            server = socket.create_connection(("127.0.0.1", self._server_port), timeout=5)
            server.settimeout(None)
        except OSError:
            _end(phone)
            return
        with self._lock:
            self._open |= {phone, server}
        threading.Thread(target=self._pass_on, args=(server, phone), daemon=True).start()
        self._pass_on(phone, server)

    def _pass_on(self, one: socket.socket, other: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while piece := one.recv(_PIECE):
                other.sendall(piece)
        _end(one)
        _end(other)


def _end(one: socket.socket) -> None:
    with contextlib.suppress(OSError):
        one.shutdown(socket.SHUT_RDWR)
    one.close()


@contextlib.contextmanager
def wifi(port: int) -> Iterator[Wifi]:
    made = Wifi(port)
    yield made
    made.close()

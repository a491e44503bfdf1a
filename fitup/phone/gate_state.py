"""What the gate knows: paired phones, open pairing codes, keys, names and limits."""

from __future__ import annotations

import socket
from dataclasses import dataclass, field
from ipaddress import ip_address
from pathlib import Path
from typing import Protocol
from urllib.parse import urlsplit

from fitup.phone.bodies import BodyLimit
from fitup.phone.pairing import PairingCodes
from fitup.phone.phones import PhoneBook, signing_key
from fitup.phone.rate_limits import Rate, RateLimit
from fitup.phone.screen_lock import ScreenLock
from fitup.phone.sessions import Sessions

__all__ = ["Gate", "GateSettings"]

_SMALL_BODY = BodyLimit(bytes_max=64_000)


class GateSettings(Protocol):
    """What the gate needs of the server's settings."""

    @property
    def state_folder(self) -> Path:
        """Where paired phones and the signing key are kept."""

    @property
    def host_names(self) -> tuple[str, ...]:
        """Names, besides addresses and the machine's own, by which the page may be called."""

    @property
    def https(self) -> bool:
        """Whether the page is only served over https."""

    @property
    def photo_bytes_max(self) -> int:
        """The largest photo that is taken, in bytes."""


@dataclass(kw_only=True)
class _Limits:
    """How often: strangers and pairing by address, paired phones each. Ten busy phones never notice."""

    strangers: RateLimit = field(default_factory=lambda: RateLimit(Rate(burst=120, per_s=5)))
    pairing: RateLimit = field(default_factory=lambda: RateLimit(Rate(burst=10, per_s=1 / 6)))
    phones: RateLimit = field(default_factory=lambda: RateLimit(Rate(burst=300, per_s=30)))
    photos: RateLimit = field(default_factory=lambda: RateLimit(Rate(burst=40, per_s=2)))


class Gate:
    """The gate's state. Raises StorageError where the state folder cannot be used."""

    def __init__(self, settings: GateSettings) -> None:
        self._settings = settings
        self.sessions = Sessions(signing_key(settings.state_folder / "signing.key"), https=settings.https)
        self.phones = PhoneBook(settings.state_folder / "phones.json")
        self.codes = PairingCodes()
        self.screen = ScreenLock()
        # Where phones reach the server; whoever starts it sets it when the address is known.
        self.base_url = "http://localhost"
        self.limits = _Limits()
        machine = socket.gethostname().lower()
        names = {"localhost", machine, f"{machine}.local", *(n.lower() for n in settings.host_names)}
        self._names = frozenset(names)

    def screen_link(self, base_url: str) -> str:
        """The address that opens the server's own page, once, from the server itself."""
        return f"{base_url.rstrip('/')}/screen/open/{self.screen.new_link()}"

    def pairing_link(self, base_url: str, name: str, role: str) -> str:
        """The address that pairs one phone for a person, once and within minutes."""
        return f"{base_url.rstrip('/')}/pair/{self.codes.invite(name, role).code}"

    def knows_host(self, host: str) -> bool:
        """Whether a Host header calls this server: other names may be somebody's who points them here."""
        name = _host_name(host)
        return name in self._names or _is_address(name)

    def body_limit(self, path: str) -> BodyLimit:
        """How much may come in with a request to `path`."""
        if path == "/api/shots" or (path.startswith("/api/entries/") and path.endswith("/outcome")):
            return BodyLimit(bytes_max=self._settings.photo_bytes_max)
        return _SMALL_BODY


def _host_name(host: str) -> str:
    try:
        return urlsplit(f"//{host}").hostname or ""
    except ValueError:
        return ""


def _is_address(name: str) -> bool:
    try:
        ip_address(name)
    except ValueError:
        return False
    return True

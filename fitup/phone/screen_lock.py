"""The lock of the server's own page: a link that opens it once, and the secret of the browsers that did."""

from __future__ import annotations

import secrets

__all__ = ["ScreenLock"]


class ScreenLock:
    """Links not yet used, and the secrets given for them; all forgotten when the server stops."""

    def __init__(self) -> None:
        self._links: set[str] = set()
        self._secrets: set[str] = set()

    def new_link(self) -> str:
        """The end of an address that opens the page once."""
        link = secrets.token_urlsafe(24)
        self._links.add(link)
        return link

    def open(self, link: str) -> str | None:
        """Use a link up: the secret to carry from now on, None where the link is not (or no longer) good."""
        if link not in self._links:
            return None
        self._links.discard(link)
        secret = secrets.token_hex(16)
        self._secrets.add(secret)
        return secret

    def knows(self, secret: str | None) -> bool:
        """Whether the secret was given by this lock."""
        return secret is not None and secret in self._secrets

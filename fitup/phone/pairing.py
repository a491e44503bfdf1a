"""Pairing codes: shown as a QR code on the server's screen, good once and for some minutes.

They live in memory only: a server that was started anew knows none of the old ones.
"""

from __future__ import annotations

import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

from fitup.errors import UsageError
from fitup.phone.people import ROLES, person_name

__all__ = ["GOOD_FOR_S", "Invitation", "PairingCodes"]

GOOD_FOR_S = 300.0
# 128 bits of chance: nobody guesses one within its minutes.
_CODE_BYTES = 16
_MOST_OPEN = 100


@dataclass(frozen=True, kw_only=True)
class Invitation:
    """What a code stands for; `expires_s` on the clock of `PairingCodes`."""

    code: str
    name: str
    role: str
    expires_s: float


class PairingCodes:
    """The codes that are good now."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._open: dict[str, Invitation] = {}
        self._lock = threading.Lock()

    def invite(self, name: str, role: str) -> Invitation:
        """Make a code for a person; UsageError for a name or role that is none, or too many open codes."""
        if role not in ROLES:
            raise UsageError(f"a person is one of {', '.join(ROLES)}: choose one of these.")
        invitation = Invitation(
            code=secrets.token_urlsafe(_CODE_BYTES),
            name=person_name(name),
            role=role,
            expires_s=self._clock() + GOOD_FOR_S,
        )
        with self._lock:
            self._drop_old()
            if len(self._open) >= _MOST_OPEN:
                raise UsageError("too many pairing codes are open: use them or wait some minutes.")
            self._open[invitation.code] = invitation
        return invitation

    def look(self, code: str) -> Invitation | None:
        """What the code stands for, without using it up; None where it is not good (any more)."""
        with self._lock:
            self._drop_old()
            return self._open.get(code)

    def use(self, code: str) -> Invitation | None:
        """Use the code up; None where it is not good (any more). Of several that do so at once one wins."""
        with self._lock:
            self._drop_old()
            return self._open.pop(code, None)

    def _drop_old(self) -> None:
        now = self._clock()
        self._open = {k: v for k, v in self._open.items() if v.expires_s > now}

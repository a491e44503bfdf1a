"""What a phone carries to be known again, a signed cookie; and the token that shows a form to be ours."""

from __future__ import annotations

import hashlib
import hmac
import secrets

from itsdangerous import BadSignature, URLSafeTimedSerializer
from starlette.responses import Response

__all__ = ["PHONE_COOKIE", "SCREEN_COOKIE", "Sessions"]

PHONE_COOKIE = "fitup_phone"
SCREEN_COOKIE = "fitup_screen"
# A phone is paired anew after half a year; the server's own page is opened anew every day.
_AGES_S = {PHONE_COOKIE: 182 * 86400, SCREEN_COOKIE: 86400}


class Sessions:
    """Gives and reads the cookies, signed with the server's key. `https`: only sent over https."""

    def __init__(self, key: bytes, *, https: bool) -> None:
        self._key = key
        self._https = https

    def give(self, response: Response, cookie: str, subject: str) -> None:
        """Put a cookie for `subject` (a phone's id, a screen's secret) into a response."""
        response.set_cookie(
            cookie,
            self._serializer(cookie).dumps([subject, secrets.token_hex(8)]),
            max_age=_AGES_S[cookie],
            httponly=True,
            samesite="lax",
            secure=self._https,
        )

    def subject(self, cookie: str, value: str | None) -> str | None:
        """Whose cookie this is; None where it is missing, forged, altered, expired or another kind's."""
        try:
            loaded = self._serializer(cookie).loads(value or "", max_age=_AGES_S[cookie])
        except BadSignature:
            return None
        return loaded[0] if isinstance(loaded, list) and loaded and isinstance(loaded[0], str) else None

    def token(self, value: str) -> str:
        """The form token that belongs to a cookie's value: only our own pages know it."""
        return hmac.new(self._key, b"form token\0" + value.encode(), hashlib.sha256).hexdigest()

    def token_fits(self, value: str, token: str | None) -> bool:
        """Whether a form's token belongs to the cookie's value."""
        return hmac.compare_digest(self.token(value).encode(), (token or "").encode("utf-8", "replace"))

    def _serializer(self, cookie: str) -> URLSafeTimedSerializer:
        # The kind of cookie is part of what is signed: one kind is never taken for another.
        return URLSafeTimedSerializer(
            self._key, salt=cookie, signer_kwargs={"key_derivation": "hmac", "digest_method": hashlib.sha256}
        )

"""Headers of every answer: the browser runs and shows nothing but what this server sent for it.

Sources: W3C Content Security Policy Level 3; WHATWG Fetch (nosniff, cross-origin resource policy); OWASP
Secure Headers (from memory).
"""

from __future__ import annotations

from starlette.datastructures import MutableHeaders

__all__ = ["REPORT_HEADERS", "add_headers"]

_PAGE_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' blob: data:",
        "connect-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
# The report is one page with its style and pictures inside: shown in a sandbox, without scripts.
REPORT_HEADERS = {
    "content-security-policy": "sandbox; default-src 'none'; style-src 'unsafe-inline'; img-src data:; "
    "font-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
}
_ALWAYS = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",  # "no-referrer" makes browsers send our own forms with Origin: null
    "x-frame-options": "DENY",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(self), microphone=(), geolocation=(), payment=(), usb=()",
}


def add_headers(headers: MutableHeaders) -> None:
    """Add what every answer carries; a handler's own policy and caching stay."""
    for name, value in _ALWAYS.items():
        headers[name] = value
    headers.setdefault("content-security-policy", _PAGE_POLICY)
    headers.setdefault("cache-control", "no-store")

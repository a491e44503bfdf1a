"""The page on the phone: a door for photos, verdicts and readings over the shop's network.

`create_app` makes the server's application; nothing of it is imported but by `fitup serve`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fitup.phone.app import create_app
    from fitup.phone.phone_settings import PhoneSettings, ServedJob

__all__ = ["PhoneSettings", "ServedJob", "create_app"]


def __getattr__(name: str) -> object:
    """Fetch a public name from the file that makes it (PEP 562)."""
    if name == "create_app":
        from fitup.phone.app import create_app

        return create_app
    if name in __all__:
        from fitup.phone import phone_settings

        value: object = getattr(phone_settings, name)
        return value
    raise AttributeError(f"module 'fitup.phone' has no attribute {name!r}")

"""Times as a page shows them: those of the shop computer's clock, in the order that sorts."""

from __future__ import annotations

from datetime import UTC, datetime

from markupsafe import Markup

__all__ = ["shown_time", "time_element"]


def shown_time(when: datetime | str | None) -> str:
    """A time in UTC, or as ISO 8601 writes it, as "2026-11-25 14:07" of this computer; a day stays a day."""
    if not when:
        return ""
    if isinstance(when, datetime):
        aware = when if when.tzinfo else when.replace(tzinfo=UTC)
        return f"{aware.astimezone():%Y-%m-%d %H:%M}"
    if len(when) <= len("2026-11-25"):
        return when
    try:
        return shown_time(datetime.fromisoformat(when))
    except ValueError:
        return when


def time_element(when: datetime | str | None) -> Markup:
    """The same for a page, kept on one line."""
    return Markup("<time>{}</time>").format(shown_time(when))
